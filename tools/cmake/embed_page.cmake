# Writes a C++ source with the page's style and its script: the ES modules in order, joined into one by leaving their imports
# and the word export out. cmake -DFOLDER=... -DOUTPUT=... -P embed_page.cmake
set(script "")
foreach(module data.js grid.js board.js lists.js charts.js main.js)
  file(READ "${FOLDER}/${module}" text)
  string(REGEX REPLACE "(^|\n)import [^\n]*" "\\1" text "${text}")
  string(REGEX REPLACE "(^|\n)export " "\\1" text "${text}")
  # Each module keeps to itself what it does not export; names at its top level must differ from those of the others.
  string(APPEND script "// ${module}\n${text}\n")
endforeach()
file(READ "${FOLDER}/page.css" style)
file(WRITE "${OUTPUT}" "// Made by tools/cmake/embed_page.cmake.\nnamespace teasel {\nextern const char* const kPageStyle;\nextern const char* const kPageScript;\nconst char* const kPageStyle = R\"teasel(${style})teasel\";\nconst char* const kPageScript = R\"teasel(${script})teasel\";\n}  // namespace teasel\n")
