#include <fmt/core.h>

#include <dxflib/dl_dxf.h>
#include <dxflib/dl_writer_ascii.h>
#include <unistd.h>

#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <memory>
#include <stdexcept>

#include "core/errors.h"
#include "core/files.h"
#include "sheets/drawing.h"

namespace interstice::sheets {
namespace {

// The library writes to a named file only.
class TemporaryFile {
 public:
  TemporaryFile() : path_((std::filesystem::temp_directory_path() / "interstice-XXXXXX").string()) {
    const int fd = ::mkstemp(path_.data());
    if (fd < 0) throw std::runtime_error("no temporary file can be made");
    ::close(fd);
  }
  ~TemporaryFile() { ::unlink(path_.c_str()); }
  TemporaryFile(const TemporaryFile&) = delete;
  TemporaryFile& operator=(const TemporaryFile&) = delete;
  const std::string& path() const { return path_; }

 private:
  std::string path_;
};

void write_layers(DL_Dxf& dxf, DL_WriterA& out) {
  dxf.writeHeader(out);
  out.dxfString(9, "$INSUNITS");
  out.dxfInt(70, 4);  // millimetres
  out.sectionEnd();
  out.sectionTables();
  dxf.writeVPort(out);
  out.tableLinetypes(1);
  dxf.writeLinetype(out, DL_LinetypeData("CONTINUOUS", "Continuous", 0, 0, 0.0));
  out.tableEnd();
  out.tableLayers(3);
  dxf.writeLayer(out, DL_LayerData("0", 0), DL_Attributes("", DL_Codes::black, 25, "CONTINUOUS", 1.0));
  dxf.writeLayer(out, DL_LayerData("cut", 0), DL_Attributes("", DL_Codes::red, 25, "CONTINUOUS", 1.0));
  dxf.writeLayer(out, DL_LayerData("marks", 0), DL_Attributes("", DL_Codes::black, 25, "CONTINUOUS", 1.0));
  out.tableEnd();
  out.tableStyle(1);
  dxf.writeStyle(out, DL_StyleData("Standard", 0, 0.0, 1.0, 0.0, 0, 2.5, "txt", ""));
  out.tableEnd();
  dxf.writeView(out);
  dxf.writeUcs(out);
  out.tableAppid(1);
  dxf.writeAppid(out, "ACAD");
  out.tableEnd();
  dxf.writeDimStyle(out, 2.5, 1.25, 0.625, 0.625, 2.5);
  dxf.writeBlockRecord(out);
  out.tableEnd();
  out.sectionEnd();
  out.sectionBlocks();
  for (const char* block : {"*Model_Space", "*Paper_Space", "*Paper_Space0"}) {
    dxf.writeBlock(out, DL_BlockData(block, 0, 0.0, 0.0, 0.0));
    dxf.writeEndBlock(out, block);
  }
  out.sectionEnd();
}

// A text as one DXF value: a line end in it would start the next group, and so an entity of somebody else's.
// Files of this version are not UTF-8; other characters stand as \U+XXXX.
std::string dxf_text(const std::string& text) {
  std::string out;
  std::size_t at = 0;
  const auto take = [&](std::size_t more, std::uint32_t c) {
    for (; more > 0; --more, ++at)
      c = c << 6 | (at < text.size() ? static_cast<unsigned char>(text[at]) & 0x3fu : 0);
    return c;
  };
  while (at < text.size()) {
    const auto lead = static_cast<unsigned char>(text[at++]);
    const std::uint32_t c = lead < 0x80   ? lead
                            : lead < 0xc0 ? std::uint32_t{'?'}  // a byte that is no UTF-8
                            : lead < 0xe0 ? take(1, lead & 0x1fu)
                            : lead < 0xf0 ? take(2, lead & 0x0fu)
                                          : take(3, lead & 0x07u);
    if (c < 0x20 || c == 0x7f) {
      out += ' ';
    } else if (c < 0x7f) {
      out += static_cast<char>(c);
    } else if (c > 0xffff) {
      out += '?';
    } else {
      out += fmt::format("\\U+{:04X}", static_cast<unsigned>(c));
    }
  }
  return out;
}

}  // namespace

std::string write_dxf(const Drawing& sheet) {
  const TemporaryFile file;
  DL_Dxf dxf;
  {
    const std::unique_ptr<DL_WriterA> out(dxf.out(file.path().c_str(), DL_VERSION_2000));
    if (!out) throw std::runtime_error("the DXF file cannot be opened");
    write_layers(dxf, *out);
    out->sectionEntities();
    for (const DrawnPath& path : sheet.paths) {
      const DL_Attributes attributes(path.layer == "cut" ? "cut" : "marks", 256, -1, "BYLAYER", 1.0);
      const auto n = static_cast<int>(path.points.size());
      dxf.writePolyline(*out, DL_PolylineData(n, 0, 0, path.closed ? 1 : 0), attributes);
      for (const Eigen::Vector2d& p : path.points) {
        dxf.writeVertex(*out, DL_VertexData(p.x(), sheet.height_mm - p.y(), 0));
      }
      dxf.writePolylineEnd(*out);
    }
    for (const DrawnText& text : sheet.texts) {
      const double x = text.at.x(), y = sheet.height_mm - text.at.y();
      const int across = text.anchor == Anchor::left ? 0 : text.anchor == Anchor::middle ? 1 : 2;
      const int upright = text.anchor == Anchor::middle ? 2 : 0;
      dxf.writeText(
          *out,
          DL_TextData(x, y, 0, x, y, 0, text.height_mm, 1.0, 0, across, upright, dxf_text(text.text),
                      "Standard", text.angle_deg * 3.14159265358979323846 / 180),
          DL_Attributes("marks", 256, -1, "BYLAYER", 1.0));
    }
    out->sectionEnd();
    dxf.writeObjects(*out);
    dxf.writeObjectsEnd(*out);
    out->dxfEOF();
    out->close();
  }
  std::string bytes = core::read_file(file.path());
  if (!bytes.ends_with("EOF\n")) throw core::InputError(file.path(), "cannot be written; is the disk full?");
  return bytes;
}

}  // namespace interstice::sheets
