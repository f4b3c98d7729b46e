// XML with limits: no document types, no entities of its own, bounded depth; numbers with the place where they stand.
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

inline std::string_view local(const tinyxml2::XMLElement& e) {
  std::string_view n = e.Name();
  const std::size_t colon = n.find(':');
  return colon == n.npos ? n : n.substr(colon + 1);
}
inline std::string_view attribute(const tinyxml2::XMLElement& e, const char* name) {
  const char* v = e.Attribute(name);
  return v ? std::string_view(v) : std::string_view();
}
const tinyxml2::XMLElement* child(const tinyxml2::XMLElement& e, std::string_view name);
std::optional<bool> truth(std::string_view text);  ///< xsd:boolean, case-blind, and yes and no; else nothing

/// Walks the children of an element: for (auto* c : children(e)).
class Children {
 public:
  explicit Children(const tinyxml2::XMLElement& e) : first_(e.FirstChildElement()) {}
  struct Step {
    const tinyxml2::XMLElement* e;
    const tinyxml2::XMLElement& operator*() const { return *e; }
    Step& operator++() {
      e = e->NextSiblingElement();
      return *this;
    }
    bool operator!=(const Step& o) const { return e != o.e; }
  };
  [[nodiscard]] Step begin() const { return {first_}; }
  [[nodiscard]] Step end() const { return {nullptr}; }

 private:
  const tinyxml2::XMLElement* first_;
};
inline Children children(const tinyxml2::XMLElement& e) {
  return Children(e);
}

}  // namespace teasel::formats
