// Boards known only from the bench: pads from pictures, nets from resistance readings, what to measure next.
#include "teasel/board/bench.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "build.h"
#include "union_find.h"

namespace teasel {

namespace {
using formats::ContinuityRow;
using formats::PadRow;

constexpr double kPoor = 0.5;            // mm; residuals beyond this are no measurement (common practice, no source)
constexpr std::size_t kProposed = 500;   // next readings that are listed
constexpr std::size_t kMostNets = 1500;  // pairs of more nets are not looked through

std::string millimetres(double v) {
  return short_number(v, 3) + " mm";
}

/// Places, sizes and errors of pads that were read in pictures.
class PhotoReader {
 public:
  PhotoReader(Board& b, const Job& job, const Sources& s, Diagnostics& d) : b_(b), job_(job), s_(s), d_(d) {}
  void run(std::vector<PadRow>& pads);

 private:
  void fit(const std::string& photo, const std::vector<PadRow>& pads);
  void report(const PhotoFit& f);
  void sides(const PhotoFit& f, const std::vector<PadRow>& pads);

  Board& b_;
  const Job& job_;
  const Sources& s_;
  Diagnostics& d_;
};

void PhotoReader::fit(const std::string& photo, const std::vector<PadRow>& pads) {
  std::vector<formats::ReferenceRow> rows;
  for (const auto& r : s_.references)
    if (r.photo == photo) rows.push_back(r);
  const std::string shown = photo.empty() ? "the picture" : "picture " + photo;
  const Place at{job_.references_file.empty() ? job_.file : job_.references_file, 0, 0, {}};
  std::optional<PhotoModel> model;
  for (PhotoModel m : {PhotoModel::similarity, PhotoModel::affine, PhotoModel::projective})
    if (job_.photo_model == to_string(m)) model = m;
  // Where the points lie on one line, the pads' side tells from where the picture was taken.
  std::optional<bool> from_top;
  for (const PadRow& p : pads)
    if (p.pixel && p.photo == photo && p.side != 2) from_top = p.side == 0;
  const auto f = fit_photo(photo, rows, model, job_.reference_error.v, from_top);
  if (!f && rows.size() >= 2 && !from_top)
    return d_.error("photo-line", at,
                    shown +
                        ": its reference points lie on one line, and no pad in it belongs to one side alone: nothing "
                        "tells from which side it was taken",
                    std::to_string(rows.size()) + " reference points", "a point off the line",
                    "measure one more point");
  if (!f)
    return d_.error("photo-no-fit", at, shown + " cannot be brought to the board frame",
                    std::to_string(rows.size()) + " reference points",
                    "two points that lie apart, three that lie on no line for an affine map, four for a projective one",
                    "measure more points that are seen in the picture: tooling holes, corners");
  report(*f);
  if (d_.failed()) return;
  b_.bench.photos.push_back(*f);
}

void PhotoReader::report(const PhotoFit& f) {
  const Place at{job_.references_file, 0, 0, {}};
  const std::string shown = f.photo.empty() ? "the picture" : "picture " + f.photo;
  std::string worst, flagged;
  double far = -1;
  for (const PhotoPoint& p : f.points) {
    if (p.outlier)
      flagged += (flagged.empty() ? "" : ", ") + p.name + " (line " + std::to_string(p.line) + ") by " +
                 millimetres(p.without);
    else if (length(p.residual) > far) {
      far = length(p.residual);
      worst = p.name + " " + millimetres(far);
    }
  }
  const std::string text = std::string(to_string(f.model)) + " map over " + std::to_string(f.points.size()) +
                           " points; residuals " + millimetres(f.rms) + " in the mean square, largest at " + worst +
                           "; one reading is off by " + millimetres(f.sigma) + " (one sigma, each axis)";
  if (f.proven)
    d_.note("photo-fit", at, shown + " is brought to the board frame", text,
            "overrule the model in  [inputs.references] model");
  else
    d_.warn("photo-fit-unproven", at,
            shown + " has no more reference points than its map needs: nothing tells how good they are",
            text + ", assumed", "measure more points");
  if (!f.rival.empty())
    d_.warn("photo-map-unsure", at, shown + ": another reading of the reference points is nearly as likely",
            std::string(to_string(f.model)) + " is taken; " + f.rival + " fits as well",
            "measure more points, also inside the board: eight or more for a picture from the hand");
  if (f.side_given)
    d_.warn("photo-side-taken", at,
            shown + ": its reference points lie on one line; that it shows the " + (f.from_top ? "top" : "bottom") +
                " is taken from the side of its pads, and nothing checks it",
            {}, "measure one more point off the line");
  Box spread;
  for (const PhotoPoint& p : f.points) spread.add(p.board);
  if (f.rms > kPoor && f.rms > 0.005 * std::hypot(spread.width(), spread.height())) {
    complain(job_, d_, "photo-fit-poor", at,
             shown + " does not fit its reference points" +
                 (f.suspect.empty() ? "" : "; without " + f.suspect + " the others agree ten times better"),
             text, "correct the points", "residuals below " + millimetres(kPoor) + " or half a percent of the picture");
  }
  if (!flagged.empty())
    d_.warn("photo-outlier", at, "reference points that do not fit the others were left out", flagged,
            "measure them again, or remove the rows");
}

/// Pixels count downwards, so a picture's handedness tells from which side it was taken.
void PhotoReader::sides(const PhotoFit& f, const std::vector<PadRow>& pads) {
  for (const PadRow& p : pads) {
    if (!p.pixel || p.photo != f.photo || p.side == 2 || (p.side == 0) == f.from_top) continue;
    const std::string message = "the reference points say that the picture shows the board from its " +
                                std::string(f.from_top ? "top" : "bottom") + ", but pads on the " +
                                (p.side ? "bottom" : "top") + " were read in it: a mirrored plate would follow";
    return complain(job_, d_, "photo-side", {job_.pads_file, p.line, 0, {}}, message, p.pad,
                    "correct the side, the mirrored picture or the reference points",
                    "pixels counted from the upper left corner, y downwards; board millimetres as seen from the top");
  }
}

void PhotoReader::run(std::vector<PadRow>& pads) {
  std::set<std::string> photos;
  for (const PadRow& p : pads)
    if (p.pixel) photos.insert(p.photo);
  for (const auto& name : photos) fit(name, pads);
  if (d_.failed()) return;
  for (const PhotoFit& f : b_.bench.photos) sides(f, pads);
  if (d_.failed()) return;
  for (PadRow& p : pads) {
    if (!p.pixel) continue;
    const PhotoFit& f = *std::find_if(b_.bench.photos.begin(), b_.bench.photos.end(),
                                      [&](const PhotoFit& x) { return x.photo == p.photo; });
    p.at = f(*p.pixel);
    const double sigma = f.sigma_at(*p.pixel);
    p.error = std::hypot(p.error, sigma);
    if (p.size_in_pixels) {
      // Along the picture's axes as they lie on the board; in a tilted picture these are not quite square to each
      // other.
      const Point o = f(*p.pixel), u = f(*p.pixel + Point{1, 0}) - o, v = f(*p.pixel + Point{0, 1}) - o;
      p.rotation = std::atan2(u.y, u.x) * 180 / 3.14159265358979323846;
      const double round = f.scale_at(*p.pixel);
      if (p.height > 0) {
        p.width *= length(u);
        p.height *= std::abs(cross(u, v)) / std::max(length(u), 1e-12);
      } else
        p.width *= round;
    }
    if (!std::isfinite(p.at.x) || std::abs(p.at.x) > 5000 || std::abs(p.at.y) > 5000)
      return d_.error("photo-far", {job_.pads_file, p.line, 0, {}}, "this pad lands farther than 5 m from the origin",
                      p.pad, {}, "its pixels lie outside what the reference points cover: correct them");
  }
}

/// Nets from readings, and what is still open.
class NetFinder {
 public:
  NetFinder(Board& b, const Job& job, const Sources& s, Diagnostics& d) : b_(b), job_(job), s_(s), d_(d) {}
  bool name_nets(std::vector<PadRow>& pads);
  void propose();

 private:
  int find(int i) { return static_cast<int>(sets_->find(static_cast<std::uint32_t>(i))); }
  void contradictions(const std::vector<PadRow>& pads);
  void check_repeats();

  Board& b_;
  const Job& job_;
  const Sources& s_;
  Diagnostics& d_;
  std::optional<UnionFind> sets_;  ///< of pads
  std::map<std::string, int> by_name_;
};

bool NetFinder::name_nets(std::vector<PadRow>& pads) {
  sets_.emplace(pads.size());
  for (std::size_t i = 0; i < pads.size(); ++i) by_name_[pads[i].pad] = static_cast<int>(i);
  auto join = [&](int a, int b) { sets_->join(static_cast<std::uint32_t>(a), static_cast<std::uint32_t>(b)); };
  // Pads that the user gave one name are one net before anything is measured.
  std::map<std::string, int> named;
  for (std::size_t i = 0; i < pads.size(); ++i)
    if (!pads[i].net.empty() && pads[i].net != "N/C") {
      const auto [it, fresh] = named.emplace(pads[i].net, static_cast<int>(i));
      if (!fresh) join(it->second, static_cast<int>(i));
    }
  const Bench& bench = b_.bench;
  std::size_t between = 0;
  std::string first_between;
  check_repeats();
  for (const ContinuityRow& r : s_.continuity) {
    for (const std::string& name : {r.pad_a, r.pad_b})
      if (!by_name_.count(name)) {
        d_.error("continuity-unknown-pad", {job_.continuity_file, r.line, 0, {}},
                 "a reading names a pad that the pad list does not hold", name, {}, "correct the name, or add the pad");
        return false;
      }
    const int a = by_name_[r.pad_a], b = by_name_[r.pad_b];
    if (a == b) continue;
    if (r.ohms <= bench.joined_below)
      join(a, b);
    else if (r.ohms < bench.open_above && between++ < 3)
      first_between +=
          (first_between.empty() ? "" : ", ") + r.pad_a + " - " + r.pad_b + " " + short_number(r.ohms, 1) + " ohm";
  }
  // A net's name: the user's, else by its first pad in the list.
  std::map<int, std::set<std::string>> names;
  for (std::size_t i = 0; i < pads.size(); ++i)
    if (!pads[i].net.empty() && pads[i].net != "N/C") names[find(static_cast<int>(i))].insert(pads[i].net);
  for (const auto& [root, list] : names)
    if (list.size() > 1)
      d_.warn("continuity-shorts-names", {job_.continuity_file, 0, 0, {}},
              "readings join pads that the pad list names as different nets; the first name is taken",
              *list.begin() + " and " + *std::next(list.begin()), "a short, a net tie, or a wrong name");
  contradictions(pads);
  for (std::size_t i = 0; i < pads.size(); ++i) {
    const int root = find(static_cast<int>(i));
    pads[i].net = names.count(root) ? *names[root].begin() : "N(" + pads[static_cast<std::size_t>(root)].pad + ")";
  }
  if (between)
    d_.warn("continuity-between", {job_.continuity_file, 0, 0, {}},
            "readings between the two thresholds leave pads as two nets: a part or a bad touch lies between them",
            std::to_string(between) + " between " + short_number(bench.joined_below, 3) + " and " +
                short_number(bench.open_above, 3) + " ohm: " + first_between,
            "set  joined_below_ohm  and  open_above_ohm  in  [inputs.continuity]");
  return true;
}

/// The same pair read twice with results that are not alike.
void NetFinder::check_repeats() {
  std::map<std::pair<std::string, std::string>, const ContinuityRow*> seen;
  std::size_t count = 0;
  std::string first;
  for (const ContinuityRow& r : s_.continuity) {
    const auto [it, fresh] = seen.emplace(std::minmax(r.pad_a, r.pad_b), &r);
    if (fresh) continue;
    const double lo = std::min(r.ohms, it->second->ohms), hi = std::max(r.ohms, it->second->ohms);
    const bool alike = lo == hi || (hi <= b_.bench.joined_below && lo <= b_.bench.joined_below) || hi < 1.5 * lo;
    if (!alike && count++ < 3)
      first += (first.empty() ? "" : "; ") + r.pad_a + " - " + r.pad_b + " on lines " +
               std::to_string(it->second->line) + " and " + std::to_string(r.line);
  }
  if (count)
    d_.warn("continuity-repeats", {job_.continuity_file, 0, 0, {}},
            "pairs were read twice with different results; the smaller resistance is taken",
            std::to_string(count) + ": " + first, "measure them again, and keep one row");
}

/// A reading that says apart, of two pads that other readings join.
void NetFinder::contradictions(const std::vector<PadRow>& pads) {
  std::size_t count = 0;
  std::string first;
  for (const ContinuityRow& r : s_.continuity) {
    const int a = by_name_[r.pad_a], b = by_name_[r.pad_b];
    if (a == b || r.ohms < b_.bench.open_above || find(a) != find(b)) continue;
    if (count++ < 3)
      first += (first.empty() ? "" : "; ") + pads[static_cast<std::size_t>(a)].pad + " and " +
               pads[static_cast<std::size_t>(b)].pad + " (line " + std::to_string(r.line) + ", " +
               (std::isinf(r.ohms) ? "open" : short_number(r.ohms, 1) + " ohm") + ")";
  }
  if (count)
    d_.warn("continuity-contradiction", {job_.continuity_file, 0, 0, {}},
            "pads that other readings join were also read as apart; they are taken as joined, since a bad touch reads "
            "open and nothing reads joined by mistake",
            std::to_string(count) + ": " + first, "measure these pairs again");
}

/// Pairs of nets without any reading; first those that settle most, between nets of many pads.
void NetFinder::propose() {
  Bench& bench = b_.bench;
  for (const ContinuityRow& r : s_.continuity)
    bench.readings.push_back({by_name_[r.pad_a], by_name_[r.pad_b], r.ohms, r.line});
  const std::size_t n = b_.nets.size();
  if (n < 2 || n > kMostNets || s_.continuity.empty()) return;
  std::vector<std::vector<char>> known(n, std::vector<char>(n, 0));
  for (const Reading& r : bench.readings) {
    const int a = b_.features[static_cast<std::size_t>(r.feature_a)].net,
              b = b_.features[static_cast<std::size_t>(r.feature_b)].net;
    if (a >= 0 && b >= 0)
      known[static_cast<std::size_t>(a)][static_cast<std::size_t>(b)] =
          known[static_cast<std::size_t>(b)][static_cast<std::size_t>(a)] = 1;
  }
  struct Question {
    std::size_t a, b, settles, pads;
  };
  std::vector<Question> open;
  for (std::size_t a = 0; a < n; ++a)
    for (std::size_t b = a + 1; b < n; ++b) {
      if (known[a][b]) continue;
      // Were they joined, every net of which one is known to be apart would be known for both.
      std::size_t settles = 1;
      for (std::size_t c = 0; c < n; ++c) settles += c != a && c != b && known[a][c] != known[b][c];
      open.push_back({a, b, settles, b_.nets[a].features.size() + b_.nets[b].features.size()});
    }
  bench.questions = open.size();
  std::stable_sort(open.begin(), open.end(), [](const Question& p, const Question& q) {
    return std::tie(q.pads, q.settles) < std::tie(p.pads, p.settles);
  });
  // Not all at one net: the fifth question about it stands behind the others'.
  std::vector<std::size_t> asked(n);
  std::vector<Question> first, later;
  for (const Question& q : open) {
    (asked[q.a] >= 4 && asked[q.b] >= 4 ? later : first).push_back(q);
    ++asked[q.a];
    ++asked[q.b];
  }
  first.insert(first.end(), later.begin(), later.end());
  for (std::size_t i = 0; i < std::min(first.size(), kProposed); ++i) {
    const Question& q = first[i];
    const Net &na = b_.nets[q.a], &nb = b_.nets[q.b];
    bench.next.push_back({b_.features[static_cast<std::size_t>(na.features[0])].name,
                          b_.features[static_cast<std::size_t>(nb.features[0])].name,
                          "nothing is known between " + na.name + " (" + std::to_string(na.features.size()) +
                              " pads) and " + nb.name + " (" + std::to_string(nb.features.size()) + ")",
                          q.settles});
  }
}
}  // namespace

void add_bench(Board& b, const Job& job, const Sources& s, Diagnostics& d) {
  Bench& bench = b.bench;
  bench.used = true;
  bench.joined_below = job.joined_below;
  bench.open_above = job.open_above;
  std::vector<PadRow> pads = s.pads;
  PhotoReader(b, job, s, d).run(pads);
  if (d.failed()) return;
  NetFinder finder(b, job, s, d);
  if (!finder.name_nets(pads)) return;
  add_pad_list(b, pads, job.pads_file, d);
  finder.propose();
  if (bench.questions) {
    std::string first;
    for (std::size_t i = 0; i < std::min<std::size_t>(bench.next.size(), 3); ++i)
      first += (i ? ", " : "") + bench.next[i].pad_a + " - " + bench.next[i].pad_b;
    d.warn("continuity-open-questions", {job.continuity_file, 0, 0, {}},
           "pairs of nets without any reading between them are taken as two nets",
           std::to_string(bench.questions) + " pairs; measure first: " + first, "see all with  teasel bench");
  }
}

}  // namespace teasel
