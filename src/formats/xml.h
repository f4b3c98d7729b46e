// Reads XML within limits: no document types, no entities of the file's own, bounded depth.
#pragma once
#include <tinyxml2.h>

#include <optional>
#include <string>
#include <string_view>

#include "teasel/diagnostics.h"

namespace teasel::formats {

/// Parses into `document`. Element names keep their prefix; local() drops it.
bool parse_xml(tinyxml2::XMLDocument& document, std::string_view bytes, const std::string& name,
               Diagnostics& diagnostics);

inline std::string_view local(const tinyxml2::XMLElement& element) {
  std::string_view name = element.Name();
  const std::size_t colon = name.find(':');
  return colon == name.npos ? name : name.substr(colon + 1);
}
inline std::string_view attribute(const tinyxml2::XMLElement& element, const char* name) {
  const char* value = element.Attribute(name);
  return value ? std::string_view(value) : std::string_view();
}
const tinyxml2::XMLElement* child(const tinyxml2::XMLElement& element, std::string_view name);
std::optional<bool> truth(std::string_view text);  ///< xsd:boolean, case-blind, and yes and no; else nothing

/// The children of an element: for (const XMLElement& child : children(element)).
class Children {
 public:
  explicit Children(const tinyxml2::XMLElement& element) : first_(element.FirstChildElement()) {}
  struct Step {
    const tinyxml2::XMLElement* element;
    const tinyxml2::XMLElement& operator*() const { return *element; }
    Step& operator++() {
      element = element->NextSiblingElement();
      return *this;
    }
    bool operator!=(const Step& other) const { return element != other.element; }
  };
  [[nodiscard]] Step begin() const { return {first_}; }
  [[nodiscard]] Step end() const { return {nullptr}; }

 private:
  const tinyxml2::XMLElement* first_;
};
inline Children children(const tinyxml2::XMLElement& element) {
  return Children(element);
}

}  // namespace teasel::formats
