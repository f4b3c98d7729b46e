#pragma once
namespace teasel {
inline constexpr const char* kVersion = "0.1.0";
}
