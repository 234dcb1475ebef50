#include "app/plan_work.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>
#include <tuple>

#include "app/form_text.h"
#include "app/plan_scan.h"
#include "app/plan_text.h"
#include "app/unrolled.h"
#include "archive/archive.h"
#include "archive/gap_statistics.h"
#include "camera/photo.h"
#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"
#include "core/name_check.h"
#include "core/output_file.h"
#include "form/form_document.h"
#include "layout/form_difference.h"
#include "layout/seated_layout.h"
#include "sheets/form_strips.h"
#include "sheets/plan_views.h"
#include "solid/piece_body.h"

namespace interstice::app {
namespace {

namespace fs = std::filesystem;

std::string ending_of(const std::string& path) {
  return core::lower_ascii(fs::path(path).extension().string());
}

// One file, or for formats of one sheet a file: name-01.svg, name-02.svg, ...; what was written.
std::vector<std::string> write_sheets(const std::vector<sheets::Drawing>& sheets, const std::string& out,
                                      const std::string& title, const core::Inputs& inputs) {
  const std::string ending = ending_of(out);
  if (ending != ".pdf" && ending != ".svg" && ending != ".png" && ending != ".dxf") {
    throw core::InputError(out, "the name must end in .pdf, .svg, .png or .dxf");
  }
  if (ending == ".pdf") {
    core::OutputFile(out, core::FileKind::pdf(), inputs).write(sheets::write_pdf(sheets, title));
    return {out};
  }
  std::vector<std::string> bytes, names;
  for (std::size_t k = 0; k < sheets.size(); ++k) {
    constexpr double kDotsPerMm = 6;
    bytes.push_back(ending == ".svg"   ? sheets::write_svg(sheets[k], title)
                    : ending == ".png" ? sheets::write_png(sheets[k], kDotsPerMm)
                                       : sheets::write_dxf(sheets[k]));
    const std::string number = fmt::format("-{:02}", k + 1);
    const fs::path path(out);
    names.push_back(
        sheets.size() == 1
            ? out
            : (path.parent_path() / (path.stem().string() + number + path.extension().string())).string());
  }
  const core::FileKind kind = ending == ".svg"   ? core::FileKind::svg()
                              : ending == ".png" ? core::FileKind::png()
                                                 : core::FileKind::dxf();
  std::vector<core::OutputFile> files;  // all places are looked at before the first sheet takes its own
  for (const std::string& name : names) files.emplace_back(name, kind, inputs);
  for (std::size_t k = 0; k < sheets.size(); ++k) files[k].write(bytes[k]);
  return names;
}

// Before any work: a place that cannot take the result.
void refuse_bad_place(const std::string& out) {
  if (fs::is_directory(out)) throw core::InputError(out, "is a folder; name a file to write");
  const fs::path folder = fs::path(out).parent_path();
  if (!folder.empty() && !fs::is_directory(folder))
    throw core::InputError(out, "cannot be written: there is no folder " + folder.string());
}

plan::Plan read_plan_with(const std::string& path, double smallest_fill_mm) {
  plan::Plan plan = plan::read_plan(path);
  if (smallest_fill_mm > 0) plan.smallest_fill_mm = smallest_fill_mm;
  return plan;
}

geometry::OrthoPicture read_ortho(const std::string& path) {
  const fs::path described = fs::path(path).replace_extension(".json");
  const std::string scale_file = described.string();
  const nlohmann::json document = core::read_json(described);
  const core::JsonNode root(document, scale_file);
  geometry::OrthoPicture picture;
  picture.mm_per_px = root.at("mm_per_px").number(0.01, 10);
  picture.cx = root.at("cx").number();
  picture.cy = root.at("cy").number();
  camera::read_photo_info(path);  // refuses absurd sizes before memory is asked for
  const std::string bytes = core::read_file(path);
  const auto decode = [](const std::string& b, int mode) {
    try {
      return cv::imdecode(cv::Mat(1, static_cast<int>(b.size()), CV_8U, const_cast<char*>(b.data())), mode);
    } catch (const cv::Exception&) {
      return cv::Mat();
    }
  };
  picture.bgr = decode(bytes, cv::IMREAD_COLOR);
  if (picture.bgr.empty()) throw core::InputError(path, "cannot be read as a picture");
  if (root.has("confidence")) {
    const std::string name = root.at("confidence").text();
    if (name != fs::path(name).filename() || name == "." || name == "..")
      root.at("confidence").fail("is not the name of a file beside " + path);
    const fs::path beside = fs::path(path).parent_path() / name;
    camera::read_photo_info(beside);
    picture.confidence = decode(core::read_file(beside), cv::IMREAD_GRAYSCALE);
    if (picture.confidence.empty() || picture.confidence.size() != picture.bgr.size()) {
      throw core::InputError(beside.string(), "is not a picture of the same size as " + path);
    }
  }
  return picture;
}

// The gap that an archive's seams ask for, rounded up to a tenth and never under the smallest fill; the
// reason as one line.
std::pair<double, std::string> learned_gap(const PlanMakeArguments& a) {
  constexpr double kConfidence = 0.95;
  const double fill = a.layout.smallest_fill_mm, share = a.gap_share_percent / 100;
  const archive::Archive archive = archive::Archive::open(a.gap_from);
  for (const std::string& line : archive.unreadable()) {
    std::fprintf(stderr, "interstice: %s; archive verify tells more\n", core::one_line(line, 600).c_str());
  }
  const std::vector<archive::LearnedSeam> seams = archive.seams_to_learn_from();
  const std::optional<double> wanted = archive::gap_to_plan_mm(seams, share, kConfidence, fill);
  if (!wanted) {
    throw core::MeasureError(a.gap_from + ": holds " + std::to_string(seams.size()) +
                             " measured seams, and at least " +
                             std::to_string(archive::kFewestSeamsToLearnFrom) +
                             " are needed to say what gap to plan: leave --gap-from out, or give --gap");
  }
  const archive::Learned learned = archive::learn(seams, {share}, kConfidence, fill);
  const double gap = std::max(fill, std::ceil(*wanted * 10 - 1e-9) / 10);
  return {
      gap,
      fmt::format(
          "gap: {:.1f} mm learnt from {} seams of {} {} in {}: they came out {:+.2f} mm against their plan "
          "(sd {:.2f} mm); so {:g} % fill to {:.1f} mm or more, with {:g} % confidence",
          gap, learned.all.seams, learned.bowls, learned.bowls == 1 ? "piece" : "pieces",
          core::one_line(a.gap_from, 120), learned.all.mean_mm, learned.all.sd_mm, a.gap_share_percent, fill,
          100 * kConfidence)};
}

BareFormPhotos photos_of(const std::string& folder, const PhotoReading& reading,
                         const CommonOptions& common) {
  return {folder, reading.lens, reading.check_line_mm, common.threads};
}

std::optional<layout::FormInput> read_drawn(const std::string& path, const layout::ProfileReading& reading) {
  if (path.empty()) return std::nullopt;
  return layout::read_form(path, reading);
}

// A line that says how far the photos' form is from the drawn one. Throws InputError where it is another form.
std::string compared_with(const layout::FormInput& drawn, const std::string& file,
                          const form::Shape& measured) {
  const layout::FormDifference d = layout::form_difference(measured.profile, measured.seen, drawn.profile);
  if (!d.fits()) {
    throw core::InputError(
        file,
        fmt::format(
            "is not the form in the photos: that lies up to {:.1f} mm {} it (at a height of {:.0f} mm), its "
            "rim "
            "is {:.1f} mm {} across and it is {:.1f} mm {}; check the file and its unit, or leave --form out",
            std::abs(d.worst_mm), d.worst_mm > 0 ? "outside" : "inside", d.worst_z_mm, std::abs(d.rim_mm),
            d.rim_mm > 0 ? "more" : "less", std::abs(d.height_mm), d.height_mm > 0 ? "higher" : "lower"));
  }
  return fmt::format(
      "the form in the photos is up to {:.1f} mm {} {} ({:.2f} mm RMS); the plan keeps it as photographed",
      std::abs(d.worst_mm), d.worst_mm > 0 ? "outside" : "inside", core::one_line(file, 120), d.rms_mm);
}

}  // namespace

int run_plan_form(const PlanFormArguments& a) {
  std::optional<core::OutputFile> out;
  if (!a.out.empty()) out.emplace(a.out, core::FileKind::form(), core::Inputs{a.form, a.photos.lens});
  core::checked_name(a.name, "--name");
  if (fs::is_directory(a.form)) {
    Progress progress(a.common.quiet || a.common.json, a.common.progress);
    const BareForm form = measure_bare_form(photos_of(a.form, a.photos, a.common), progress);
    if (out) out->write(form::write_form(form.shape, form.bare, a.name));
    print_measured_form(form, a.out, a.common);
    return kDone;
  }
  const layout::FormInput form = layout::read_form(a.form, a.reading);
  if (out) out->write(form_document(form.profile, a.name));
  print_form(form, a.out, a.common);
  return kDone;
}

int run_plan_make(const PlanMakeArguments& a) {
  core::OutputFile out(a.out, core::FileKind::plan(), {a.form, a.drawn, a.photos.lens, a.gap_from});
  core::checked_name(a.layout.name, "--name");
  Progress progress(a.common.quiet || a.common.json, a.common.progress);
  layout::FormInput form;
  if (fs::is_directory(a.form)) {
    const std::optional<layout::FormInput> drawn = read_drawn(a.drawn, a.reading);
    const BareForm measured = measure_bare_form(photos_of(a.form, a.photos, a.common), progress);
    form.profile = measured.shape.profile;
    form.notes = form_notes(measured);
    if (drawn) form.notes.push_back(compared_with(*drawn, a.drawn, measured.shape));
  } else {
    if (!a.drawn.empty())
      throw core::InputError(a.form, "is no folder of photos; --form is what photos are compared with");
    form = layout::read_form(a.form, a.reading);
  }
  layout::LayoutOptions options = a.layout;
  if (a.piece_size_mm) options.piece_size_mm = *a.piece_size_mm;
  std::string reason;
  if (!a.gap_from.empty()) {
    layout::check_options(options, form.profile);  // before the smallest fill is reckoned with
    std::tie(options.gap_mm, reason) = learned_gap(a);
  }
  progress.step("dividing the form");
  const layout::CheckLimits limits;
  const layout::SeatedLayout seated = a.piece_size_mm
                                          ? layout::as_asked(form.profile, options)
                                          : layout::make_seated_layout(form.profile, options, limits);
  out.write(plan::write_plan(seated.layout.plan));
  if (!reason.empty()) form.notes.push_back(reason);
  for (const std::string& note : layout::seating_notes(seated, options.piece_size_mm, limits))
    form.notes.push_back(note);
  print_layout(seated.layout, form, options, a.out, a.common);
  return kDone;
}

int run_plan_trace(const PlanTraceArguments& a) {
  core::OutputFile out(
      a.out, core::FileKind::plan(),
      {a.photos, fs::path(a.photos).replace_extension(".json"), a.form, a.labels, a.reading_photos.lens});
  std::optional<UnrolledOutput> unrolled;
  if (!a.unrolled.empty()) unrolled.emplace(a.unrolled, core::Inputs{a.photos, a.form, a.labels});
  core::checked_name(a.trace.name, "--name");
  if (!fs::exists(a.photos)) throw core::InputError(a.photos, "no such folder of photos or picture");
  const std::optional<layout::FormInput> drawn = read_drawn(a.form, a.reading);
  Progress progress(a.common.quiet || a.common.json, a.common.progress);
  geometry::Profile form;
  geometry::OrthoPicture picture;
  std::vector<std::string> notes;
  if (fs::is_directory(a.photos)) {
    const BareForm measured = measure_bare_form(photos_of(a.photos, a.reading_photos, a.common), progress);
    notes = form_notes(measured);
    if (drawn) notes.push_back(compared_with(*drawn, a.form, measured.shape));
    form = measured.shape.profile;
    progress.step("laying the photos out on the form's map");
    picture = picture_of_bare_form(measured, a.common.threads);
  } else {
    if (!drawn) throw core::InputError(a.photos, "is a picture, not a folder of photos: it needs --form");
    form = drawn->profile;
    picture = read_ortho(a.photos);
  }
  progress.step("following the drawn lines");
  layout::TraceOptions options = a.trace;
  options.gap_mm =
      a.gap_mm >= 0 ? a.gap_mm : layout::default_gap_mm(options.smallest_fill_mm, layout::GapSpread());
  layout::TraceResult result = layout::trace_layout(picture, form, options);
  if (!a.labels.empty()) layout::rename_tiles(result.plan, core::read_file(a.labels, 1u << 20), a.labels);
  if (unrolled) unrolled->write(picture, result);
  out.write(plan::write_plan(result.plan));
  print_trace(result, notes, a.out, a.common);
  return result.left_out.empty() && result.look_again.empty() ? kDone : kNeedsWork;
}

int run_plan_patterns(const PlanPatternsArguments& a) {
  refuse_bad_place(a.out);
  const plan::Plan plan = plan::read_plan(a.plan);
  sheets::PatternOptions options = a.options;
  options.board = !a.board.empty();
  options.sheet = sheets::parse_sheet(options.board ? a.board : a.sheet);
  const std::vector<solid::PieceBody> bodies = solid::planned_bodies(plan);
  const std::vector<solid::PieceGeometry> pieces = solid::piece_geometries(plan, bodies);
  sheets::Patterns patterns = sheets::make_patterns(plan, bodies, pieces, options);
  std::vector<sheets::Drawing> sheets = std::move(patterns.sheets);
  const std::size_t pattern_sheets = sheets.size();
  if (ending_of(a.out) == ".pdf") {
    sheets.insert(sheets.begin(), patterns.cutting_list.begin(), patterns.cutting_list.end());
  }
  const std::vector<std::string> written =
      write_sheets(sheets, a.out, plan.name + ": cutting patterns", {a.plan});
  print_patterns(plan, pieces, pattern_sheets, written, a.common);
  return kDone;
}

int run_plan_check(const PlanCheckArguments& a) {
  const plan::Plan plan = read_plan_with(a.plan, a.smallest_fill_mm);
  layout::CheckLimits limits = a.limits;
  if (!a.board.empty()) {
    const sheets::SheetSize board = sheets::parse_sheet(a.board);
    limits.board_length_mm = board.width_mm, limits.board_width_mm = board.height_mm;
  }
  const std::vector<solid::PieceBody> bodies = solid::planned_bodies(plan);
  const layout::PlanCheck check =
      layout::check_plan(plan, bodies, solid::piece_geometries(plan, bodies), limits);
  print_check(plan, check, limits, a.common);
  return check.findings.empty() ? kDone : kNeedsWork;
}

int run_plan_draw(const PlanDrawArguments& a) {
  refuse_bad_place(a.out);
  const plan::Plan plan = plan::read_plan(a.plan);
  std::vector<sheets::Drawing> sheets;
  switch (a.view) {
    case PlanView::map:
      sheets = {sheets::draw_map(plan)};
      break;
    case PlanView::sides:
      sheets = {sheets::draw_elevations(plan, solid::planned_bodies(plan))};
      break;
    case PlanView::gores:
      sheets = sheets::draw_gores(plan, sheets::parse_sheet(a.sheet),
                                  a.gores > 0 ? a.gores : sheets::gore_count(plan.profile));
      break;
    case PlanView::bands:
      sheets = sheets::draw_bands(plan, sheets::parse_sheet(a.sheet));
      break;
  }
  print_written(write_sheets(sheets, a.out, plan.name, {a.plan}), a.common);
  return kDone;
}

}  // namespace interstice::app
