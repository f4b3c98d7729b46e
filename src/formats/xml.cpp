#include "xml.h"

#include <algorithm>

namespace teasel::formats {

namespace {
constexpr std::string_view kEntities[] = {"amp;", "lt;", "gt;", "quot;", "apos;", "#"};
constexpr std::size_t kMostTags = 12'000'000;  // some 1.5 GB as a tree; the largest real boards have two million

/// Without definitions only the five entities of XML itself and characters by number have a meaning.
bool only_known_entities(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  for (std::size_t at = bytes.find('&'); at != bytes.npos; at = bytes.find('&', at + 1)) {
    const std::string_view rest = bytes.substr(at + 1, 6);
    if (std::any_of(std::begin(kEntities), std::end(kEntities),
                    [&](std::string_view entity) { return rest.substr(0, entity.size()) == entity; }))
      continue;
    const auto line = static_cast<std::uint32_t>(
        1 + std::count(bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(at), '\n'));
    diagnostics.error({.code = "xml-entity",
                       .at = {name, line, 0, {}},
                       .message = "an entity is used that XML does not define",
                       .found = std::string(bytes.substr(at, 20)),
                       .expected = "&amp;, &lt;, &gt;, &quot;, &apos; or &#number;",
                       .remedy = "write the character itself"});
    return false;
  }
  return true;
}

bool no_document_type(const tinyxml2::XMLDocument& document, const std::string& name, Diagnostics& diagnostics) {
  for (const tinyxml2::XMLNode* node = document.FirstChild(); node; node = node->NextSibling())
    if (node->ToUnknown()) {
      diagnostics.error({.code = "xml-document-type",
                         .at = {name, static_cast<std::uint32_t>(node->GetLineNum()), 0, {}},
                         .message = "document types and entity definitions are not read",
                         .found = std::string(node->Value()).substr(0, 60),
                         .expected = "elements only",
                         .remedy = "remove the definition"});
      return false;
    }
  return true;
}
}  // namespace

bool parse_xml(tinyxml2::XMLDocument& document, std::string_view bytes, const std::string& name,
               Diagnostics& diagnostics) {
  if (static_cast<std::size_t>(std::count(bytes.begin(), bytes.end(), '<')) > kMostTags) {
    diagnostics.error({.code = "xml-too-large",
                       .at = {name, 1, 0, {}},
                       .message = "the file holds more than 12 million tags",
                       .remedy = "the file is damaged or hostile"});
    return false;
  }
  if (bytes.substr(0, 2) == "\xFF\xFE" || bytes.substr(0, 2) == "\xFE\xFF") {
    diagnostics.error({.code = "xml-encoding",
                       .at = {name, 1, 0, {}},
                       .message = "the file is written in UTF-16",
                       .expected = "UTF-8",
                       .remedy = "save it as UTF-8"});
    return false;
  }
  if (!only_known_entities(bytes, name, diagnostics)) return false;
  const tinyxml2::XMLError result = document.Parse(bytes.data(), bytes.size());
  if (result != tinyxml2::XML_SUCCESS) {
    const bool deep = result == tinyxml2::XML_ELEMENT_DEPTH_EXCEEDED;
    diagnostics.error({.code = deep ? "xml-too-deep" : "xml-malformed",
                       .at = {name, static_cast<std::uint32_t>(std::max(0, document.ErrorLineNum())), 0, {}},
                       .message = deep ? "elements are nested too deeply" : "the file is not well-formed XML",
                       .found = tinyxml2::XMLDocument::ErrorIDToName(result),
                       .remedy = "the file is cut off or damaged; get it again"});
    return false;
  }
  if (!no_document_type(document, name, diagnostics)) return false;
  if (!document.RootElement()) {
    diagnostics.error({.code = "xml-malformed",
                       .at = {name, 1, 0, {}},
                       .message = "the file holds no element",
                       .remedy = "get it again"});
    return false;
  }
  return true;
}

const tinyxml2::XMLElement* child(const tinyxml2::XMLElement& element, std::string_view name) {
  for (const auto& inner : children(element))
    if (local(inner) == name) return &inner;
  return nullptr;
}

std::optional<bool> truth(std::string_view text) {
  std::string low(text);
  for (char& letter : low)
    if (letter >= 'A' && letter <= 'Z') letter = static_cast<char>(letter + 32);
  if (low == "true" || low == "1" || low == "yes") return true;
  if (low == "false" || low == "0" || low == "no") return false;
  return std::nullopt;
}

}  // namespace teasel::formats
