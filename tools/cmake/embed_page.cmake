# Writes a C++ source with the page's styles and scripts: cmake -DFOLDER=... -DOUTPUT=... -P embed_page.cmake
# The scripts are ES modules, joined into one for each page. A new module takes its place in the lists here, after those that
# it imports.
cmake_minimum_required(VERSION 3.22)
include("${CMAKE_CURRENT_LIST_DIR}/join_modules.cmake")
set(page data.js elements.js grid.js colours.js layers.js reading.js strokes.js board.js address.js measure.js rows.js lists.js charts.js legend.js search.js
         about.js paper.js solids.js fixture.js main.js)
set(report_page ${page} file.js)
set(live_page ${page} edits.js keep_outs.js live.js)
set(first_page first.js)

# No script is left out by mistake.
file(GLOB scripts RELATIVE "${FOLDER}" "${FOLDER}/*.js")
foreach(script ${scripts})
  if(NOT script IN_LIST report_page AND NOT script IN_LIST live_page AND NOT script IN_LIST first_page)
    message(FATAL_ERROR "${script} belongs to no page. Name it in tools/cmake/embed_page.cmake.")
  endif()
endforeach()

set(cpp "// Made by tools/cmake/embed_page.cmake.\nnamespace teasel {\n")
function(add name text)
  # Every compiler takes literals of up to 64 kB, so the text is written in pieces side by side.
  string(LENGTH "${text}" length)
  set(pieces "")
  set(at 0)
  while(at LESS length)
    string(SUBSTRING "${text}" ${at} 12000 piece)
    string(APPEND pieces "R\"teasel(${piece})teasel\"\n")
    math(EXPR at "${at} + 12000")
  endwhile()
  set(cpp "${cpp}extern const char* const ${name};\nconst char* const ${name} = ${pieces};\n" PARENT_SCOPE)
endfunction()
join_modules(report "${FOLDER}" ${report_page})
join_modules(live "${FOLDER}" ${live_page})
join_modules(first "${FOLDER}" ${first_page})
file(READ "${FOLDER}/page.css" style)
file(READ "${FOLDER}/live.css" live_style)
add(kPageStyle "${style}")
add(kLiveStyle "${live_style}")
add(kPageScript "${report}")
add(kLiveScript "${live}")
add(kFirstScript "${first}")
file(WRITE "${OUTPUT}" "${cpp}}  // namespace teasel\n")
