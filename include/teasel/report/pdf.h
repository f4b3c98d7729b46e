// Drawings as PDF, for people who print and for shops that archive. Made from the SVG drawings by librsvg and cairo,
// where the program is built with them.
#pragma once
#include <string>
#include <vector>

namespace teasel {

/// True if this program was built with what it takes.
bool writes_pdf();
/// One page a drawing, each as large as its drawing is. Empty where a drawing cannot be rendered.
std::string pdf_of(const std::vector<std::string>& drawings);

}  // namespace teasel
