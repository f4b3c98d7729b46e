#include "teasel/report/pdf.h"

#ifdef TEASEL_PDF
#include <cairo-pdf.h>
#include <librsvg/rsvg.h>

#include <memory>
#endif

namespace teasel {

#ifdef TEASEL_PDF
namespace {
struct Unref {
  void operator()(RsvgHandle* handle) const { g_object_unref(handle); }
  void operator()(cairo_surface_t* surface) const { cairo_surface_destroy(surface); }
  void operator()(cairo_t* pen) const { cairo_destroy(pen); }
};
template <class T>
using Owned = std::unique_ptr<T, Unref>;

cairo_status_t append(void* to, const unsigned char* bytes, unsigned int length) {
  static_cast<std::string*>(to)->append(reinterpret_cast<const char*>(bytes), length);
  return CAIRO_STATUS_SUCCESS;
}
struct Size {
  double width = 0, height = 0;  ///< points, 1/72 inch
};
/// Drawings state their size in millimetres.
Size size_of(RsvgHandle* drawing) {
  constexpr double kPointsPerPixel = 72.0 / 96;
  Size size;
  rsvg_handle_set_dpi(drawing, 96);
  if (!rsvg_handle_get_intrinsic_size_in_pixels(drawing, &size.width, &size.height)) return {};
  return {size.width * kPointsPerPixel, size.height * kPointsPerPixel};
}
}  // namespace

bool writes_pdf() {
  return true;
}

std::string pdf_of(const std::vector<std::string>& drawings) {
  std::string out;
  const Owned<cairo_surface_t> surface(cairo_pdf_surface_create_for_stream(append, &out, 1, 1));
  // The same plan gives the same bytes whenever it is written.
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_CREATE_DATE, "2000-01-01T00:00:00Z");
  const Owned<cairo_t> pen(cairo_create(surface.get()));
  for (const std::string& drawing : drawings) {
    const Owned<RsvgHandle> handle(rsvg_handle_new_from_data(reinterpret_cast<const guint8*>(drawing.data()),
                                                             static_cast<gsize>(drawing.size()), nullptr));
    if (!handle) return {};
    const Size size = size_of(handle.get());
    if (!(size.width > 0 && size.height > 0)) return {};
    cairo_pdf_surface_set_size(surface.get(), size.width, size.height);
    const RsvgRectangle page{0, 0, size.width, size.height};
    if (!rsvg_handle_render_document(handle.get(), pen.get(), &page, nullptr)) return {};
    cairo_show_page(pen.get());
  }
  cairo_surface_finish(surface.get());
  return cairo_surface_status(surface.get()) == CAIRO_STATUS_SUCCESS ? out : std::string();
}
#else
bool writes_pdf() {
  return false;
}
std::string pdf_of(const std::vector<std::string>&) {
  return {};
}
#endif

}  // namespace teasel
