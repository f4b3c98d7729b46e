// Each connection takes the cheapest path from the part of its net that exists; a path may cross others' tracks at a
// price, and what it crossed is taken up and routed again. Prices of cells rise with every conflict, so that it ends.
#include "route.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <deque>
#include <map>
#include <queue>
#include <set>

namespace demo {

namespace {
constexpr int kFree = -1, kBlocked = -2;
constexpr double kReach = kClearance + kTrack / 2;

/// What is routed, and taken up, together: a whole net, or one surface pad's way to a plane.
struct Job {
  int net{};
  bool plane = false;
  std::vector<int> pads;
  std::vector<std::vector<std::size_t>> paths;  ///< cells
  std::vector<std::size_t> vias;                ///< cells of layer 0
  std::vector<std::size_t> cells;               ///< all that it took; others may have taken some of them since
};

class Router {
 public:
  Router(const Design& d, const std::vector<std::string>& planes) : d_(d) {
    nx_ = static_cast<int>(kWidth / kGrid) + 1;
    ny_ = static_cast<int>(kHeight / kGrid) + 1;
    fixed_.assign(size(), kFree);
    owner_.assign(size(), kFree);
    net_there_.assign(size(), kFree);
    heat_.assign(size(), 0);
    for (const auto* list : {&d.pads, &d.open_vias})
      for (const Pad& p : *list) pads_.push_back(p);
    for (const Pad& p : pads_) net_of_.push_back(id(p));
    for (const auto& p : planes)
      if (ids_.count(p)) plane_.insert(ids_[p]);
    block();
    about_.assign(size() / 2, kFree);
    taken_about_.assign(size() / 2, 0);
    for (int y = 0; y < ny_; ++y)
      for (int x = 0; x < nx_; ++x) about_[at(x, y, 0) / 2] = fixed_about(x, y);
  }
  Routes run();

 private:
  std::size_t size() const { return static_cast<std::size_t>(nx_) * static_cast<std::size_t>(ny_) * 2; }
  std::size_t at(int x, int y, int layer) const {
    return (static_cast<std::size_t>(y) * static_cast<std::size_t>(nx_) + static_cast<std::size_t>(x)) * 2 +
           static_cast<std::size_t>(layer);
  }
  int id(const Pad& p) {
    const std::string key = p.net == "N/C" ? "N/C " + std::to_string(ids_.size()) : p.net;
    auto [it, fresh] = ids_.try_emplace(key, static_cast<int>(ids_.size()));
    if (fresh) names_.push_back(p.net);
    return it->second;
  }
  void block();
  void claim(double x, double y, double w, double h, int layer, int net);
  bool route_one(int job, int pad, std::set<int>& crossed);
  /// Cells that a way from this pad may end at: pads of its net that come before it, and what is laid already.
  std::vector<bool> goals(const Job& job, int pad) const;
  /// The cheapest way from a pad to its goals or to a plane, from its far end; empty: there is none.
  std::vector<std::size_t> cheapest(const Job& job, int pad) const;
  /// Takes the cells of a path, and takes up what it crosses.
  void lay(int index, std::vector<std::size_t> path, std::set<int>& crossed);
  bool via_fits(int x, int y, int net, double& price) const;
  bool foreign(std::size_t cell, int net) const { return net_there_[cell] != kFree && net_there_[cell] != net; }
  /// Of the cells within one cell around, on both layers: free, the only net of all that are not, or blocked.
  int fixed_about(int x, int y) const;
  void own(std::size_t cell, int job);
  void make_jobs();
  void collect(Routes& out) const;
  std::vector<std::size_t> terminals(int pad) const;
  void take_up(int job);

  const Design& d_;
  int nx_{}, ny_{};
  std::vector<Pad> pads_;
  std::vector<int> net_of_;
  std::map<std::string, int> ids_;
  std::vector<std::string> names_;
  std::set<int> plane_;
  std::vector<int> fixed_, owner_, net_there_;  ///< net_there_: of the owner
  std::vector<int> about_;                      ///< by place: fixed_about()
  std::vector<std::uint8_t> taken_about_;       ///< by place: so many of those cells are owned
  std::vector<float> heat_;
  std::vector<Job> jobs_;
};

void Router::claim(double x, double y, double w, double h, int layer, int net) {
  const double ex = w / 2 + kReach, ey = (h > 0 ? h : w) / 2 + kReach;
  const bool round = h <= 0;
  for (int cy = static_cast<int>(std::ceil((y - ey) / kGrid)); cy <= static_cast<int>(std::floor((y + ey) / kGrid));
       ++cy)
    for (int cx = static_cast<int>(std::ceil((x - ex) / kGrid)); cx <= static_cast<int>(std::floor((x + ex) / kGrid));
         ++cx) {
      if (cx < 0 || cy < 0 || cx >= nx_ || cy >= ny_) continue;
      const double dx = std::abs(cx * kGrid - x), dy = std::abs(cy * kGrid - y);
      if (round && std::hypot(dx, dy) > w / 2 + kReach - 1e-9) continue;
      if (!round && std::hypot(std::max(0.0, dx - w / 2), std::max(0.0, dy - h / 2)) > kReach - 1e-9) continue;
      int& f = fixed_[at(cx, cy, layer)];
      f = f == kFree || f == net ? net : kBlocked;
    }
}

void Router::block() {
  for (std::size_t i = 0; i < pads_.size(); ++i) {
    const Pad& p = pads_[i];
    for (int layer = 0; layer < 2; ++layer)
      if (p.drill > 0 || p.top == (layer == 0)) claim(p.x, p.y, p.w, p.h, layer, net_of_[i]);
  }
  for (const Pad& h : d_.holes)
    for (int layer = 0; layer < 2; ++layer) claim(h.x, h.y, h.drill + 0.6, 0, layer, kBlocked);
  const int rim = static_cast<int>(0.75 / kGrid);
  for (int y = 0; y < ny_; ++y)
    for (int x = 0; x < nx_; ++x)
      if (x < rim || y < rim || x >= nx_ - rim || y >= ny_ - rim)
        for (int layer = 0; layer < 2; ++layer) fixed_[at(x, y, layer)] = kBlocked;
}

std::vector<std::size_t> Router::terminals(int pad) const {
  const Pad& p = pads_[static_cast<std::size_t>(pad)];
  std::vector<std::size_t> cells;
  const double hw = p.w / 2 - 0.05, hh = (p.h > 0 ? p.h : p.w) / 2 - 0.05;
  for (int cy = static_cast<int>(std::ceil((p.y - hh) / kGrid)); cy <= static_cast<int>(std::floor((p.y + hh) / kGrid));
       ++cy)
    for (int cx = static_cast<int>(std::ceil((p.x - hw) / kGrid));
         cx <= static_cast<int>(std::floor((p.x + hw) / kGrid)); ++cx) {
      if (p.h <= 0 && std::hypot(cx * kGrid - p.x, cy * kGrid - p.y) > hw) continue;
      for (int layer = 0; layer < 2; ++layer)
        if ((p.drill > 0 || p.top == (layer == 0)) &&
            fixed_[at(cx, cy, layer)] == net_of_[static_cast<std::size_t>(pad)])
          cells.push_back(at(cx, cy, layer));
    }
  return cells;
}

int Router::fixed_about(int x, int y) const {
  int found = kFree;
  for (int dy = -1; dy <= 1; ++dy)
    for (int dx = -1; dx <= 1; ++dx)
      for (int layer = 0; layer < 2; ++layer) {
        if (x + dx < 0 || y + dy < 0 || x + dx >= nx_ || y + dy >= ny_) return kBlocked;
        const int f = fixed_[at(x + dx, y + dy, layer)];
        if (f == kFree) continue;
        if (f == kBlocked || (found != kFree && found != f)) return kBlocked;
        found = f;
      }
  return found;
}

void Router::own(std::size_t cell, int job) {
  const int step = (job != kFree) - (owner_[cell] != kFree);
  owner_[cell] = job;
  net_there_[cell] = job == kFree ? kFree : jobs_[static_cast<std::size_t>(job)].net;
  if (step == 0) return;
  const int x = static_cast<int>(cell / 2) % nx_, y = static_cast<int>(cell / 2) / nx_;
  for (int cy = std::max(0, y - 1); cy <= std::min(ny_ - 1, y + 1); ++cy)
    for (int cx = std::max(0, x - 1); cx <= std::min(nx_ - 1, x + 1); ++cx)
      taken_about_[at(cx, cy, 0) / 2] = static_cast<std::uint8_t>(taken_about_[at(cx, cy, 0) / 2] + step);
}

bool Router::via_fits(int x, int y, int net, double& price) const {
  // The land keeps its clearance to everything within one cell around, on both layers.
  const std::size_t place = at(x, y, 0) / 2;
  if (about_[place] != kFree && about_[place] != net) return false;
  for (int dy = -1; dy <= 1 && taken_about_[place] > 0; ++dy)
    for (int dx = -1; dx <= 1; ++dx)
      for (int layer = 0; layer < 2; ++layer)
        if (const std::size_t c = at(x + dx, y + dy, layer); foreign(c, net)) price += 12 + heat_[c];
  // Not in a pad: solder would run away.
  return fixed_[at(x, y, 0)] == kFree && fixed_[at(x, y, 1)] == kFree;
}

std::vector<bool> Router::goals(const Job& job, int pad) const {
  std::vector<bool> goal(size());
  if (job.plane) return goal;
  for (int other : job.pads)
    if (other < pad)
      for (std::size_t cell : terminals(other)) goal[cell] = true;
  for (const auto& path : job.paths)
    for (std::size_t cell : path) goal[cell] = true;
  return goal;
}

std::vector<std::size_t> Router::cheapest(const Job& job, int pad) const {
  const int net = job.net;
  std::vector<float> cost(size(), 1e30f);
  std::vector<int> from(size(), -1);
  // Cost and cell in one word: costs are never negative, so their bits order them.
  std::priority_queue<std::uint64_t, std::vector<std::uint64_t>, std::greater<>> queue;
  auto put = [&](float spent, std::size_t cell) {
    queue.push(std::uint64_t{std::bit_cast<std::uint32_t>(spent)} << 32 | cell);
  };
  for (std::size_t cell : terminals(pad)) {
    cost[cell] = 0;
    put(0, cell);
  }
  const std::vector<bool> goal = goals(job, pad);
  std::size_t end = SIZE_MAX;
  while (!queue.empty()) {
    const float spent = std::bit_cast<float>(static_cast<std::uint32_t>(queue.top() >> 32));
    const std::size_t cell = queue.top() & 0xffffffffu;
    queue.pop();
    if (spent > cost[cell]) continue;
    const int layer = static_cast<int>(cell % 2), x = static_cast<int>(cell / 2) % nx_,
              y = static_cast<int>(cell / 2) / nx_;
    double via_price = 6;
    // A via that cannot pay is not looked at.
    const bool via = (job.plane || cost[cell ^ 1] > spent + 6) && via_fits(x, y, net, via_price);
    if (job.plane ? via && via_price < 7 : goal[cell]) {
      end = cell;
      break;
    }
    auto relax = [&](std::size_t next, double step) {
      if (fixed_[next] == kBlocked || (fixed_[next] != kFree && fixed_[next] != net)) return;
      if (foreign(next, net)) step += 8 + heat_[next];
      const float there = spent + static_cast<float>(step);
      if (there < cost[next]) {
        cost[next] = there;
        from[next] = static_cast<int>(cell);
        put(there, next);
      }
    };
    const double along = layer == 0 ? 1.0 : 1.35, across = layer == 0 ? 1.35 : 1.0;  // top prefers X, bottom Y
    if (x > 0) relax(at(x - 1, y, layer), along);
    if (x + 1 < nx_) relax(at(x + 1, y, layer), along);
    if (y > 0) relax(at(x, y - 1, layer), across);
    if (y + 1 < ny_) relax(at(x, y + 1, layer), across);
    if (via) relax(at(x, y, 1 - layer), via_price);
  }
  std::vector<std::size_t> path;
  if (end == SIZE_MAX) return path;
  for (int cell = static_cast<int>(end); cell >= 0; cell = from[static_cast<std::size_t>(cell)])
    path.push_back(static_cast<std::size_t>(cell));
  return path;
}

void Router::lay(int index, std::vector<std::size_t> path, std::set<int>& crossed) {
  Job& job = jobs_[static_cast<std::size_t>(index)];
  std::vector<std::size_t> vias, cells = path;
  for (std::size_t i = 0; i + 1 < path.size(); ++i)
    if (path[i] / 2 == path[i + 1] / 2) vias.push_back(path[i] / 2 * 2);
  if (job.plane) vias.push_back(path.front() / 2 * 2);
  for (std::size_t via : vias)
    for (int dy = -1; dy <= 1; ++dy)
      for (int dx = -1; dx <= 1; ++dx)
        for (int layer = 0; layer < 2; ++layer)
          cells.push_back(at(static_cast<int>(via / 2) % nx_ + dx, static_cast<int>(via / 2) / nx_ + dy, layer));
  std::set<int> hit;
  for (std::size_t cell : cells)
    if (foreign(cell, job.net)) {
      hit.insert(owner_[cell]);
      heat_[cell] += 2;
    }
  for (int other : hit) {
    take_up(other);
    crossed.insert(other);
  }
  for (std::size_t cell : cells) {
    own(cell, index);
    job.cells.push_back(cell);
  }
  job.vias.insert(job.vias.end(), vias.begin(), vias.end());
  job.paths.push_back(std::move(path));
}

bool Router::route_one(int index, int pad, std::set<int>& crossed) {
  std::vector<std::size_t> path = cheapest(jobs_[static_cast<std::size_t>(index)], pad);
  if (path.empty()) return false;
  lay(index, std::move(path), crossed);
  return true;
}

void Router::take_up(int index) {
  Job& job = jobs_[static_cast<std::size_t>(index)];
  for (const std::size_t c : job.cells)
    if (owner_[c] == index) own(c, kFree);
  job.paths.clear();
  job.vias.clear();
  job.cells.clear();
}

void Router::make_jobs() {
  std::map<int, std::vector<int>> pads_of;
  for (std::size_t i = 0; i < pads_.size(); ++i)
    if (pads_[i].net != "N/C") pads_of[net_of_[i]].push_back(static_cast<int>(i));
  for (const auto& [net, list] : pads_of) {
    if (!plane_.count(net)) {
      jobs_.push_back({net, false, list, {}, {}, {}});
      continue;
    }
    for (int p : list)
      if (pads_[static_cast<std::size_t>(p)].drill == 0) jobs_.push_back({net, true, {p}, {}, {}, {}});
  }
}

Routes Router::run() {
  make_jobs();
  // Ways to the planes first, then short nets; ties keep the order of the design.
  std::vector<std::pair<double, int>> order;
  for (std::size_t j = 0; j < jobs_.size(); ++j) {
    double x0 = 1e9, x1 = -1e9, y0 = 1e9, y1 = -1e9;
    for (int i : jobs_[j].pads) {
      const Pad& p = pads_[static_cast<std::size_t>(i)];
      x0 = std::min(x0, p.x);
      x1 = std::max(x1, p.x);
      y0 = std::min(y0, p.y);
      y1 = std::max(y1, p.y);
    }
    order.emplace_back(jobs_[j].plane ? -1 : x1 - x0 + y1 - y0, static_cast<int>(j));
  }
  std::sort(order.begin(), order.end());
  std::deque<int> queue;
  for (const auto& [len, job] : order) queue.push_back(job);
  std::map<int, int> tries;
  Routes out;
  while (!queue.empty()) {
    const int j = queue.front();
    queue.pop_front();
    take_up(j);
    std::set<int> crossed;
    bool good = ++tries[j] <= 300;
    const std::vector<int> list = jobs_[static_cast<std::size_t>(j)].pads;
    for (std::size_t k = jobs_[static_cast<std::size_t>(j)].plane ? 0 : 1; k < list.size() && good; ++k)
      good = route_one(j, list[k], crossed);
    if (!good) {
      take_up(j);
      out.failed.push_back(names_[static_cast<std::size_t>(jobs_[static_cast<std::size_t>(j)].net)]);
    }
    for (int c : crossed)
      if (c != j && std::find(queue.begin(), queue.end(), c) == queue.end()) queue.push_back(c);
  }
  collect(out);
  return out;
}

void Router::collect(Routes& out) const {
  auto point = [&](std::size_t c) {
    return std::pair{static_cast<int>(c / 2) % nx_ * kGrid, static_cast<int>(c / 2) / nx_ * kGrid};
  };
  for (const Job& job : jobs_) {
    const std::string& net = names_[static_cast<std::size_t>(job.net)];
    for (const auto& path : job.paths)
      for (std::size_t i = 0; i + 1 < path.size();) {
        // A straight run goes on while layer and direction stay.
        std::size_t k = i + 1;
        const auto a = point(path[i]), b = point(path[k]);
        const std::pair step{b.first - a.first, b.second - a.second};
        if (path[k] % 2 != path[i] % 2) {
          ++i;
          continue;
        }
        while (k + 1 < path.size() && path[k + 1] % 2 == path[i] % 2 &&
               std::pair{point(path[k + 1]).first - point(path[k]).first,
                         point(path[k + 1]).second - point(path[k]).second} == step)
          ++k;
        const auto e = point(path[k]);
        out.tracks.push_back({net, path[i] % 2 == 0, a.first, a.second, e.first, e.second});
        i = k;
      }
    for (std::size_t c : job.vias) out.vias.push_back({net, point(c).first, point(c).second});
  }
}
}  // namespace

Routes route(const Design& design, const std::vector<std::string>& planes) {
  return Router(design, planes).run();
}

}  // namespace demo
