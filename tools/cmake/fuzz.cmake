# cmake -C tools/cmake/fuzz.cmake -S . -B b-fuzz
set(CMAKE_CXX_COMPILER clang++ CACHE STRING "")
set(CMAKE_BUILD_TYPE RelWithDebInfo CACHE STRING "")
set(CMAKE_CXX_FLAGS "-fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=undefined -fno-omit-frame-pointer" CACHE STRING "")
set(TEASEL_TESTS OFF CACHE BOOL "")
set(TEASEL_FUZZ ON CACHE BOOL "")
