// Sheets of paper: HTML to print and fill in.
#pragma once
#include <string>
#include <vector>

#include "text.h"

namespace teasel {

inline constexpr const char* kSheetStyle =
    "body{font:13px/1.45 system-ui,sans-serif;max-width:190mm;margin:8mm auto;padding:0 "
    "4mm;color:#14181c;background:#fff}h1{font-size:1.4rem;margin:.2rem 0}h2{font-size:1.05rem;margin:1.3rem 0 "
    ".4rem;border-bottom:1px solid #888}table{border-collapse:collapse;width:100%;margin:.4rem 0}th,td{border:1px "
    "solid #999;padding:.2rem "
    ".4rem;text-align:left;vertical-align:top}td.fill{min-width:20mm;height:1.9em;background:#fafaf6}.warn{border:2px "
    "solid #a33b00;padding:.5rem .8rem;margin:.6rem 0}li{margin:.25rem 0}figure{margin:.4rem 0}figure "
    "svg{width:100%;height:auto;max-height:240mm}p.soft{color:#4a525a}tr{break-inside:avoid}h2{break-after:avoid}";

class Form {
 public:
  Form(const Outcome& outcome, const std::string& title)
      : html_(
            "<!doctype html>\n<html lang=en><head><meta charset=utf-8><meta name=viewport "
            "content=\"width=device-width,initial-scale=1\"><title>" +
            escaped(title + ", plan " + outcome.plan_id) + "</title><style>" + kSheetStyle +
            "</style></head><body>\n<h1>" + escaped(title) + "</h1>\n<p><b>" + escaped(outcome.board.name) +
            "</b>, revision " + escaped(outcome.board.revision.empty() ? "not stated" : outcome.board.revision) +
            "; fixture plan <b>" + escaped(outcome.plan_id) + "</b>; kit " +
            escaped(outcome.kit ? outcome.kit->name : "none named") + "; style " + escaped(outcome.style.name) +
            "</p>\n") {
    // Whoever works from one sheet alone sees whether the plan is released.
    if (const std::string reason = outcome.results.release.headline(); !reason.empty())
      warning(reason + ". All reasons: first-article.html.");
    else
      text("Status: ready to drill.");
  }
  void head(const std::string& text) { html_ += "<h2>" + escaped(text) + "</h2>\n"; }
  void text(const std::string& text) { html_ += "<p>" + escaped(text) + "</p>\n"; }
  void warning(const std::string& text) { html_ += "<p class=warn><b>" + escaped(text) + "</b></p>\n"; }
  void list(const std::vector<std::string>& items) {
    html_ += "<ul>\n";
    for (const auto& i : items) html_ += "<li>" + escaped(i) + "</li>\n";
    html_ += "</ul>\n";
  }
  void table(const std::vector<std::string>& names) {
    html_ += "<table><thead><tr>";
    for (const auto& name : names) html_ += "<th scope=col>" + escaped(name) + "</th>";
    html_ += "</tr></thead><tbody>\n";
  }
  /// Empty cells are there to be filled in.
  void row(const std::vector<std::string>& cells) {
    html_ += "<tr>";
    for (const auto& cell : cells)
      html_ += cell.empty() ? Markup("<td class=fill></td>") : "<td>" + escaped(cell) + "</td>";
    html_ += "</tr>\n";
  }
  /// A row to sign in.
  void to_sign(const std::vector<std::string>& names) {
    table(names);
    row(std::vector<std::string>(names.size()));
    end_table();
  }
  void end_table() { html_ += "</tbody></table>\n"; }
  void picture(const Markup& svg) { html_ += "<figure>" + svg + "</figure>\n"; }
  std::string file() { return (html_ + "</body></html>\n").text(); }

 private:
  Markup html_;
};

/// What is not there stands as a dash: empty cells are to be filled in.
inline std::string or_dash(const std::string& text) {
  return text.empty() ? "-" : text;
}

}  // namespace teasel
