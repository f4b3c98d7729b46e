#include "xml.h"

#include <algorithm>

namespace teasel::formats {

namespace {
constexpr std::string_view kEntities[] = {"amp;", "lt;", "gt;", "quot;", "apos;", "#"};
constexpr std::size_t kMostTags = 12'000'000;  // some 1.5 GB as a tree; the largest real boards have two million
}  // namespace

bool parse_xml(tinyxml2::XMLDocument& doc, std::string_view bytes, const std::string& name, Diagnostics& d) {
  if (static_cast<std::size_t>(std::count(bytes.begin(), bytes.end(), '<')) > kMostTags) {
    d.error("xml-too-large", {name, 1, 0, {}}, "the file holds more than 12 million tags", {}, {},
            "the file is damaged or hostile");
    return false;
  }
  if (bytes.substr(0, 2) == "\xFF\xFE" || bytes.substr(0, 2) == "\xFE\xFF") {
    d.error("xml-encoding", {name, 1, 0, {}}, "the file is written in UTF-16", {}, "UTF-8", "save it as UTF-8");
    return false;
  }
  // Without definitions only the five entities of XML itself and characters by number have a meaning.
  for (std::size_t at = bytes.find('&'); at != bytes.npos; at = bytes.find('&', at + 1)) {
    const std::string_view rest = bytes.substr(at + 1, 6);
    if (std::none_of(std::begin(kEntities), std::end(kEntities),
                     [&](std::string_view k) { return rest.substr(0, k.size()) == k; })) {
      const auto line = static_cast<std::uint32_t>(
          1 + std::count(bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(at), '\n'));
      d.error("xml-entity", {name, line, 0, {}}, "an entity is used that XML does not define",
              std::string(bytes.substr(at, 20)), "&amp;, &lt;, &gt;, &quot;, &apos; or &#number;",
              "write the character itself");
      return false;
    }
  }
  const tinyxml2::XMLError e = doc.Parse(bytes.data(), bytes.size());
  if (e != tinyxml2::XML_SUCCESS) {
    const bool deep = e == tinyxml2::XML_ELEMENT_DEPTH_EXCEEDED;
    d.error(deep ? "xml-too-deep" : "xml-malformed",
            {name, static_cast<std::uint32_t>(std::max(0, doc.ErrorLineNum())), 0, {}},
            deep ? "elements are nested too deeply" : "the file is not well-formed XML",
            tinyxml2::XMLDocument::ErrorIDToName(e), {}, "the file is cut off or damaged: get it again");
    return false;
  }
  for (const tinyxml2::XMLNode* n = doc.FirstChild(); n; n = n->NextSibling())
    if (n->ToUnknown()) {
      d.error("xml-document-type", {name, static_cast<std::uint32_t>(n->GetLineNum()), 0, {}},
              "document types and entity definitions are not read", std::string(n->Value()).substr(0, 60),
              "elements only", "remove the definition");
      return false;
    }
  if (!doc.RootElement()) {
    d.error("xml-malformed", {name, 1, 0, {}}, "the file holds no element", {}, {}, "get it again");
    return false;
  }
  return true;
}

const tinyxml2::XMLElement* child(const tinyxml2::XMLElement& e, std::string_view name) {
  for (const auto& c : children(e))
    if (local(c) == name) return &c;
  return nullptr;
}

std::optional<bool> truth(std::string_view text) {
  std::string low(text);
  for (char& c : low)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c + 32);
  if (low == "true" || low == "1" || low == "yes") return true;
  if (low == "false" || low == "0" || low == "no") return false;
  return std::nullopt;
}

}  // namespace teasel::formats
