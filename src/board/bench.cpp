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

constexpr Mm kPoor{0.5};                 // residuals beyond this are no measurement (common practice, no source)
constexpr std::size_t kProposed = 500;   // next readings that are listed
constexpr std::size_t kMostNets = 1500;  // pairs of more nets are not looked through

std::string millimetres(Mm length) {
  return short_number(length.v, 3) + " mm";
}

/// How well a map fits its reference points, in words.
struct Residuals {
  std::string text;
  std::string left_out;  ///< points that do not fit the others; empty: there are none
};
Residuals residuals_of(const PhotoFit& fit) {
  Residuals told;
  std::string worst;
  Mm far{-1};
  for (const PhotoPoint& point : fit.points) {
    if (point.outlier)
      told.left_out += (told.left_out.empty() ? "" : ", ") + point.name + " (line " + std::to_string(point.line) +
                       ") by " + millimetres(point.without);
    else if (length(point.residual) > far.v) {
      far = Mm{length(point.residual)};
      worst = point.name + " " + millimetres(far);
    }
  }
  told.text = std::string(to_string(fit.model)) + " map over " + std::to_string(fit.points.size()) +
              " points; residuals " + millimetres(fit.rms) + " (root mean square), largest at " + worst +
              "; standard deviation of one reading " + millimetres(fit.sigma) + " on each axis";
  return told;
}

/// Places, sizes and errors of pads that were read in pictures.
class PhotoReader {
 public:
  PhotoReader(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics)
      : board_(board), job_(job), sources_(sources), diagnostics_(diagnostics) {}
  void run(std::vector<PadRow>& pads);

 private:
  void fit(const std::string& photo, const std::vector<PadRow>& pads);
  void report(const PhotoFit& fit);
  void sides(const PhotoFit& fit, const std::vector<PadRow>& pads);

  Board& board_;
  const Job& job_;
  const Sources& sources_;
  Diagnostics& diagnostics_;
};

void PhotoReader::fit(const std::string& photo, const std::vector<PadRow>& pads) {
  std::vector<formats::ReferenceRow> rows;
  for (const auto& row : sources_.references)
    if (row.photo == photo) rows.push_back(row);
  const std::string shown = photo.empty() ? "the picture" : "picture " + photo;
  const Place at{job_.inputs.references_file.empty() ? job_.file : job_.inputs.references_file, 0, 0, {}};
  std::optional<PhotoModel> model;
  for (PhotoModel tried : {PhotoModel::similarity, PhotoModel::affine, PhotoModel::projective})
    if (job_.inputs.photo_model == to_string(tried)) model = tried;
  // Where the points lie on one line, the pads' side tells from where the picture was taken.
  std::optional<bool> from_top;
  for (const PadRow& pad : pads)
    if (pad.pixel && pad.photo == photo && !pad.sides.is_both()) from_top = pad.sides.has(Side::top);
  const auto found = fit_photo(photo, rows, model, job_.inputs.reference_error, from_top);
  if (!found && rows.size() >= 2 && !from_top)
    return diagnostics_.error(
        {.code = "photo-line",
         .at = at,
         .message = shown + ": its reference points lie on one line, and every pad that was read in it is on both "
                            "sides. Nothing tells from which side the picture was taken",
         .found = std::to_string(rows.size()) + " reference points",
         .expected = "a reference point off that line",
         .remedy = "measure one more reference point"});
  if (!found)
    return diagnostics_.error(
        {.code = "photo-no-fit",
         .at = at,
         .message = shown + " cannot be mapped to the board frame",
         .found = std::to_string(rows.size()) + " reference points",
         .expected = "two points apart from each other. An affine map needs three that are not on one line, a "
                     "projective map four",
         .remedy = "measure more points that can be seen in the picture, such as tooling holes and corners"});
  report(*found);
  if (diagnostics_.failed()) return;
  board_.bench.photos.push_back(*found);
}

void PhotoReader::report(const PhotoFit& fit) {
  const Place at{job_.inputs.references_file, 0, 0, {}};
  const std::string shown = fit.photo.empty() ? "the picture" : "picture " + fit.photo;
  const auto [text, flagged] = residuals_of(fit);
  if (fit.proven)
    diagnostics_.note({.code = "photo-fit",
                       .at = at,
                       .message = shown + " is mapped to the board frame",
                       .found = text,
                       .remedy = "override the model in  [inputs.references] model"});
  else
    diagnostics_.warn(
        {.code = "photo-fit-unproven",
         .at = at,
         .message =
             shown + " has no more reference points than its map needs, so that nothing tells how accurate they are",
         .found = text + ", assumed",
         .remedy = "measure more points"});
  if (!fit.rival.empty())
    diagnostics_.warn(
        {.code = "photo-map-unsure",
         .at = at,
         .message = shown + ": a different map fits the reference points nearly as well",
         .found = std::string(to_string(fit.model)) + " is taken; " + fit.rival + " fits as well",
         .remedy = "measure more points, some of them inside the board. A hand-held picture needs eight or more"});
  if (fit.side_given)
    diagnostics_.warn({.code = "photo-side-taken",
                       .at = at,
                       .message = shown + ": its reference points lie on one line. That it shows the " +
                                  (fit.from_top ? "top" : "bottom") +
                                  " is concluded from the side of its pads and cannot be checked",
                       .remedy = "measure one more point off the line"});
  Box spread;
  for (const PhotoPoint& point : fit.points) spread.add(point.board);
  if (fit.rms > kPoor && fit.rms.v > 0.005 * std::hypot(spread.width(), spread.height())) {
    complain(job_, diagnostics_,
             {.code = "photo-fit-poor",
              .at = at,
              .message = shown + " does not fit its reference points" +
                         (fit.suspect.empty() ? "" : "; without " + fit.suspect + " the others agree ten times better"),
              .found = text,
              .expected = "residuals below " + millimetres(kPoor) + " or 0.5 % of the distance that the points span",
              .remedy = "correct the reference points"});
  }
  if (!flagged.empty())
    diagnostics_.warn({.code = "photo-outlier",
                       .at = at,
                       .message = "reference points that do not fit the others were left out",
                       .found = flagged,
                       .remedy = "measure them again, or remove the rows"});
}

/// Pixels count downwards, so a picture's handedness tells from which side it was taken.
void PhotoReader::sides(const PhotoFit& fit, const std::vector<PadRow>& pads) {
  for (const PadRow& pad : pads) {
    if (!pad.pixel || pad.photo != fit.photo || pad.sides.is_both() || pad.sides.has(Side::top) == fit.from_top)
      continue;
    const std::string message = "the reference points say that the picture shows the board from its " +
                                std::string(fit.from_top ? "top" : "bottom") + ", but pads on the " +
                                to_string(pad.sides) + " were read in it. This would lead to a mirrored plate";
    return complain(
        job_, diagnostics_,
        {.code = "photo-side",
         .at = {job_.inputs.pads_file, pad.line, 0, {}},
         .message = message,
         .found = pad.pad,
         .expected =
             "pixels counted from the upper left corner with y downwards, and board coordinates as seen from the top",
         .remedy = "correct the side, the reference points, or a picture that was mirrored"});
  }
}

void PhotoReader::run(std::vector<PadRow>& pads) {
  std::set<std::string> photos;
  for (const PadRow& pad : pads)
    if (pad.pixel) photos.insert(pad.photo);
  for (const auto& name : photos) fit(name, pads);
  if (diagnostics_.failed()) return;
  for (const PhotoFit& photo : board_.bench.photos) sides(photo, pads);
  if (diagnostics_.failed()) return;
  for (PadRow& pad : pads) {
    if (!pad.pixel) continue;
    const PhotoFit& photo = *std::find_if(board_.bench.photos.begin(), board_.bench.photos.end(),
                                          [&](const PhotoFit& candidate) { return candidate.photo == pad.photo; });
    pad.at = photo(*pad.pixel);
    pad.error = Mm{std::hypot(pad.error.v, photo.sigma_at(*pad.pixel).v)};
    if (pad.size_in_pixels) {
      // Along the picture's axes as they lie on the board; in a tilted picture these are not quite square to each
      // other.
      const Point origin = photo(*pad.pixel), u = photo(*pad.pixel + Point{1, 0}) - origin,
                  v = photo(*pad.pixel + Point{0, 1}) - origin;
      pad.rotation = Degrees{std::atan2(u.y, u.x) * 180 / 3.14159265358979323846};
      const Mm round = photo.scale_at(*pad.pixel);
      if (pad.height > Mm{}) {
        pad.width = Mm{pad.width.v * length(u)};
        pad.height = Mm{pad.height.v * (std::abs(cross(u, v)) / std::max(length(u), 1e-12))};
      } else
        pad.width = Mm{pad.width.v * round.v};
    }
    if (!std::isfinite(pad.at.x) || std::abs(pad.at.x) > 5000 || std::abs(pad.at.y) > 5000)
      return diagnostics_.error(
          {.code = "photo-far",
           .at = {job_.inputs.pads_file, pad.line, 0, {}},
           .message = "this pad lands farther than 5 m from the origin",
           .found = pad.pad,
           .remedy = "its pixels lie far outside the area that the reference points cover. Correct them"});
  }
}

/// Nets from readings, and what is still open.
class NetFinder {
 public:
  NetFinder(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics)
      : board_(board), job_(job), sources_(sources), diagnostics_(diagnostics) {}
  bool name_nets(std::vector<PadRow>& pads);
  void propose();

 private:
  FeatureId find(FeatureId pad) { return FeatureId{sets_->find(static_cast<std::uint32_t>(pad.index()))}; }
  void join(FeatureId a, FeatureId b) {
    sets_->join(static_cast<std::uint32_t>(a.index()), static_cast<std::uint32_t>(b.index()));
  }
  void contradictions(const std::vector<PadRow>& pads);
  void check_repeats();

  Board& board_;
  const Job& job_;
  const Sources& sources_;
  Diagnostics& diagnostics_;
  std::optional<UnionFind> sets_;             ///< of pads
  std::map<std::string, FeatureId> by_name_;  ///< pads become features in the order of their list
};

bool NetFinder::name_nets(std::vector<PadRow>& pads) {
  sets_.emplace(pads.size());
  for (std::size_t i = 0; i < pads.size(); ++i) by_name_[pads[i].pad] = FeatureId{i};
  // Pads that the user gave one name are one net before anything is measured.
  std::map<std::string, FeatureId> named;
  for (std::size_t i = 0; i < pads.size(); ++i)
    if (!pads[i].net.empty() && pads[i].net != "N/C") {
      const auto [it, fresh] = named.emplace(pads[i].net, FeatureId{i});
      if (!fresh) join(it->second, FeatureId{i});
    }
  const Bench& bench = board_.bench;
  std::size_t between = 0;
  std::string first_between;
  check_repeats();
  for (const ContinuityRow& row : sources_.continuity) {
    for (const std::string& name : {row.pad_a, row.pad_b})
      if (!by_name_.count(name)) {
        diagnostics_.error({.code = "continuity-unknown-pad",
                            .at = {job_.inputs.continuity_file, row.line, 0, {}},
                            .message = "a reading names a pad that the pad list does not hold",
                            .found = name,
                            .remedy = "correct the name, or add the pad"});
        return false;
      }
    const FeatureId a = by_name_[row.pad_a], b = by_name_[row.pad_b];
    if (a == b) continue;
    if (row.ohms <= bench.joined_below)
      join(a, b);
    else if (row.ohms < bench.open_above && between++ < 3)
      first_between += (first_between.empty() ? "" : ", ") + row.pad_a + " - " + row.pad_b + " " +
                       short_number(row.ohms.v, 1) + " ohm";
  }
  // A net's name: the user's, else by its first pad in the list.
  std::map<FeatureId, std::set<std::string>> names;
  for (std::size_t i = 0; i < pads.size(); ++i)
    if (!pads[i].net.empty() && pads[i].net != "N/C") names[find(FeatureId{i})].insert(pads[i].net);
  for (const auto& [root, list] : names)
    if (list.size() > 1)
      diagnostics_.warn(
          {.code = "continuity-shorts-names",
           .at = {job_.inputs.continuity_file, 0, 0, {}},
           .message = "readings join pads to which the pad list gives different net names. The first name is used",
           .found = *list.begin() + " and " + *std::next(list.begin()),
           .remedy = "check for a short, a net tie or a wrong name"});
  contradictions(pads);
  for (std::size_t i = 0; i < pads.size(); ++i) {
    const FeatureId root = find(FeatureId{i});
    pads[i].net = names.count(root) ? *names[root].begin() : "N(" + pads[root.index()].pad + ")";
  }
  if (between)
    diagnostics_.warn({.code = "continuity-between",
                       .at = {job_.inputs.continuity_file, 0, 0, {}},
                       .message = "readings lie between the two thresholds. Their pads are taken as two nets with a "
                                  "part or a poor contact between them",
                       .found = std::to_string(between) + " between " + short_number(bench.joined_below.v, 3) +
                                " and " + short_number(bench.open_above.v, 3) + " ohm: " + first_between,
                       .remedy = "set  joined_below_ohm  and  open_above_ohm  in  [inputs.continuity]"});
  return true;
}

/// The same pair read twice with results that are not alike.
void NetFinder::check_repeats() {
  std::map<std::pair<std::string, std::string>, const ContinuityRow*> seen;
  std::size_t count = 0;
  std::string first;
  for (const ContinuityRow& row : sources_.continuity) {
    const auto [it, fresh] = seen.emplace(std::minmax(row.pad_a, row.pad_b), &row);
    if (fresh) continue;
    const Ohms lo = std::min(row.ohms, it->second->ohms), hi = std::max(row.ohms, it->second->ohms);
    const bool alike =
        lo == hi || (hi <= board_.bench.joined_below && lo <= board_.bench.joined_below) || hi < 1.5 * lo;
    if (!alike && count++ < 3)
      first += (first.empty() ? "" : "; ") + row.pad_a + " - " + row.pad_b + " on lines " +
               std::to_string(it->second->line) + " and " + std::to_string(row.line);
  }
  if (count)
    diagnostics_.warn(
        {.code = "continuity-repeats",
         .at = {job_.inputs.continuity_file, 0, 0, {}},
         .message = "pairs of pads were read twice with different results. The smaller resistance is used",
         .found = std::to_string(count) + ": " + first,
         .remedy = "measure them again, and keep one row"});
}

/// A reading that says apart, of two pads that other readings join.
void NetFinder::contradictions(const std::vector<PadRow>& pads) {
  std::size_t count = 0;
  std::string first;
  for (const ContinuityRow& row : sources_.continuity) {
    const FeatureId a = by_name_[row.pad_a], b = by_name_[row.pad_b];
    if (a == b || row.ohms < board_.bench.open_above || find(a) != find(b)) continue;
    if (count++ < 3)
      first += (first.empty() ? "" : "; ") + pads[a.index()].pad + " and " + pads[b.index()].pad + " (line " +
               std::to_string(row.line) + ", " +
               (std::isinf(row.ohms.v) ? "open" : short_number(row.ohms.v, 1) + " ohm") + ")";
  }
  if (count)
    diagnostics_.warn({.code = "continuity-contradiction",
                       .at = {job_.inputs.continuity_file, 0, 0, {}},
                       .message = "pads were read as not connected although other readings join them. They are taken "
                                  "as joined, since a poor contact reads as open and no mistake reads as joined",
                       .found = std::to_string(count) + ": " + first,
                       .remedy = "measure these pairs again"});
}

/// Pairs of nets without any reading; first those that settle most, between nets of many pads.
void NetFinder::propose() {
  Bench& bench = board_.bench;
  for (const ContinuityRow& row : sources_.continuity)
    bench.readings.push_back({by_name_[row.pad_a], by_name_[row.pad_b], row.ohms, row.line});
  const std::size_t count = board_.nets.size();
  if (count < 2 || count > kMostNets || sources_.continuity.empty()) return;
  Table<NetId, Table<NetId, char>> known(count, Table<NetId, char>(count, 0));
  for (const Reading& reading : bench.readings) {
    const NetId a = board_.features[reading.feature_a].net, b = board_.features[reading.feature_b].net;
    if (a && b) known[a][b] = known[b][a] = 1;
  }
  struct Question {
    NetId a, b;
    std::size_t settles, pads;
  };
  std::vector<Question> open;
  for (const NetId a : board_.nets.ids())
    for (const NetId b : board_.nets.ids()) {
      if (b <= a || known[a][b]) continue;
      // Were they joined, every net of which one is known to be apart would be known for both.
      std::size_t settles = 1;
      for (const NetId third : board_.nets.ids())
        settles += third != a && third != b && known[a][third] != known[b][third];
      open.push_back({a, b, settles, board_.nets[a].features.size() + board_.nets[b].features.size()});
    }
  bench.questions = open.size();
  std::stable_sort(open.begin(), open.end(), [](const Question& p, const Question& q) {
    return std::tie(q.pads, q.settles) < std::tie(p.pads, p.settles);
  });
  // Not all at one net: the fifth question about it stands behind the others'.
  Table<NetId, std::size_t> asked(count);
  std::vector<Question> first, later;
  for (const Question& question : open) {
    (asked[question.a] >= 4 && asked[question.b] >= 4 ? later : first).push_back(question);
    ++asked[question.a];
    ++asked[question.b];
  }
  first.insert(first.end(), later.begin(), later.end());
  for (std::size_t i = 0; i < std::min(first.size(), kProposed); ++i) {
    const Question& question = first[i];
    const Net &one = board_.nets[question.a], &other = board_.nets[question.b];
    bench.next.push_back({board_.features[one.features[0]].name, board_.features[other.features[0]].name,
                          "nothing is known between " + one.name + " (" + std::to_string(one.features.size()) +
                              " pads) and " + other.name + " (" + std::to_string(other.features.size()) + ")",
                          question.settles});
  }
}
}  // namespace

void add_bench(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  Bench& bench = board.bench;
  bench.used = true;
  bench.joined_below = job.inputs.joined_below;
  bench.open_above = job.inputs.open_above;
  std::vector<PadRow> pads = sources.pads;
  PhotoReader(board, job, sources, diagnostics).run(pads);
  if (diagnostics.failed()) return;
  NetFinder finder(board, job, sources, diagnostics);
  if (!finder.name_nets(pads)) return;
  add_pad_list(board, pads, job.inputs.pads_file, diagnostics);
  finder.propose();
  if (bench.questions) {
    std::string first;
    for (std::size_t i = 0; i < std::min<std::size_t>(bench.next.size(), 3); ++i)
      first += (i ? ", " : "") + bench.next[i].pad_a + " - " + bench.next[i].pad_b;
    diagnostics.warn({.code = "continuity-open-questions",
                      .at = {job.inputs.continuity_file, 0, 0, {}},
                      .message = "nets with no reading between them are taken as separate",
                      .found = std::to_string(bench.questions) + " pairs; measure first: " + first,
                      .remedy = "list all with  teasel bench"});
  }
}

}  // namespace teasel
