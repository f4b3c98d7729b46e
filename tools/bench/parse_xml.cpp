// Parses an XML file and does nothing with it: the reference beside which reading a board is measured.
#include <tinyxml2.h>

int main(int argc, char** argv) {
  tinyxml2::XMLDocument document;
  return argc > 1 && document.LoadFile(argv[1]) == tinyxml2::XML_SUCCESS ? 0 : 1;
}
