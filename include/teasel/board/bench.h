// Boards known only from the bench: pictures brought to the board frame, nets from resistance readings, what to measure
// next.
#pragma once
#include <array>
#include <optional>
#include <string>
#include <vector>

#include "teasel/board/ids.h"
#include "teasel/formats/bench.h"
#include "teasel/frames.h"
#include "teasel/geometry.h"
#include "teasel/units.h"

namespace teasel {

enum class PhotoModel : std::uint8_t { similarity, affine, projective };
const char* to_string(PhotoModel model);

struct PhotoPoint {
  std::string name;
  Point pixel;  ///< pixels of the picture, x to the right, y downwards
  BoardPoint board;
  Point residual;        ///< board frame, mm: fitted position minus stated position
  Mm without;            ///< its distance from a fit made without it, mm; 0 where the others are too few for a fit
  bool outlier = false;  ///< left out of the fit
  std::uint32_t line{};
};

/// Pixels to millimetres of the board frame.
struct PhotoFit {
  std::string photo;
  PhotoModel model{};
  std::array<double, 9> map{};  ///< row by row: (x, y, w) = map (u, v, 1); divide by w
  Mm sigma;                     ///< of one reading, each axis, mm
  bool proven = false;          ///< sigma is taken from residuals; false: there are no more points than the model needs
  Mm rms;                       ///< of the residuals, mm
  bool from_top = false;        ///< the picture shows the board as seen from its top
  std::string rival;            ///< another reading of the points that is nearly as likely; empty: none
  std::string suspect;          ///< the others agree ten times better without it, but are too few to leave it out
  bool side_given = false;      ///< the points lie on one line, and the side was taken from elsewhere
  std::vector<PhotoPoint> points;
  std::vector<double>
      covariance;  ///< of the parameters, row by row, mm^2 and pixels scaled as `centre` and `scale` say
  Point centre;
  double scale = 1;

  [[nodiscard]] BoardPoint operator()(Point pixel) const;
  [[nodiscard]] Mm scale_at(Point pixel) const;  ///< of one pixel
  /// Standard deviation of a place read in the picture, each axis, mm: the reading and the fit together.
  [[nodiscard]] Mm sigma_at(Point pixel) const;
};

/// Least squares in the board frame, over both coordinates of every reference point; projective by Gauss-Newton from
/// the affine solution. Map and slips of the pen are chosen together by Schwarz's criterion (Ann. Statist. 6, 1978), a
/// slip counting as two parameters and the choice of its point; up to a quarter of the points, four degrees of freedom
/// left. `least`: floor of sigma. Points on one line do not tell a similarity from its mirror image: `from_top` decides
/// then, and without it there is no fit. Nothing if points are too few (2, 3, 4) or, for richer maps, lie on one line.
std::optional<PhotoFit> fit_photo(const std::string& photo, const std::vector<formats::ReferenceRow>& points,
                                  std::optional<PhotoModel> model, Mm least, std::optional<bool> from_top = {});

struct Reading {
  FeatureId feature_a, feature_b;
  Ohms ohms;
  std::uint32_t line{};
};
struct NextReading {
  std::string pad_a, pad_b;
  std::string why;
  std::size_t settles = 0;  ///< open questions that the answer "joined" would settle
};
struct Bench {
  bool used = false;  ///< pads come from a pad list and from nothing else
  std::vector<PhotoFit> photos;
  std::vector<Reading> readings;
  Ohms joined_below, open_above;
  std::size_t questions = 0;  ///< pairs of nets of which nothing is known
  std::vector<NextReading> next;
};

}  // namespace teasel
