# cmake -C tools/cmake/fuzz.cmake -S . -B build/proof : fuzz targets, and tests with the same sanitizers
# (vptr is off: CGAL casts its arrangement records down to the derived type)
set(CMAKE_CXX_COMPILER clang++ CACHE STRING "")
set(CMAKE_BUILD_TYPE RelWithDebInfo CACHE STRING "")
set(CMAKE_CXX_FLAGS "-fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=undefined -fno-sanitize=vptr -fno-omit-frame-pointer" CACHE STRING "")
# As the program is built, but for the checks of the standard library.
set(CMAKE_CXX_FLAGS_RELWITHDEBINFO "-O1 -g1 -DNDEBUG -D_GLIBCXX_ASSERTIONS" CACHE STRING "")
set(TEASEL_TESTS ON CACHE BOOL "")
set(TEASEL_FUZZ ON CACHE BOOL "")
