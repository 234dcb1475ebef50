#include "app/paper_work.h"

#include <fmt/core.h>

#include <cstdio>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "app/console.h"
#include "app/numbered_papers.h"
#include "app/plan_text.h"
#include "camera/photo.h"
#include "camera/picture_resolution.h"
#include "core/counted.h"
#include "core/errors.h"
#include "core/files.h"
#include "core/name_check.h"
#include "core/output_file.h"
#include "layout/layout.h"
#include "layout/paper_trace.h"

namespace interstice::app {
namespace {

struct ScannedPapers {
  std::vector<layout::PaperPage> pages;
  std::vector<cv::Mat> pictures;
  std::size_t papers = 0;
};

ScannedPapers read_scans(const PlanPaperArguments& a, Progress& progress) {
  ScannedPapers scanned;
  for (const std::string& file : a.scans) {
    progress.step("reading " + core::one_line(file, 120));
    layout::PaperPicture picture;
    picture.file = core::one_line(file, 400);
    picture.bgr = camera::read_photo_colour(camera::read_photo_info(file));
    picture.dpi = a.dpi ? a.dpi : camera::resolution_dpi(file);
    scanned.pages.push_back(layout::read_papers(picture, a.check_line_mm));
    scanned.pictures.push_back(picture.bgr);
    scanned.papers += scanned.pages.back().pieces.size();
  }
  return scanned;
}

std::vector<std::string> scale_notes(const ScannedPapers& scanned) {
  std::vector<std::string> notes;
  for (const layout::PaperPage& page : scanned.pages) {
    notes.push_back(page.file +
                    fmt::format(": {}; check line {:.1f} pixels, {:.4f} mm a pixel ({:.1f} dots per inch)",
                                core::counted(page.pieces.size(), "paper"), page.check_line.length_px(),
                                page.mm_per_px, 25.4 / page.mm_per_px));
  }
  return notes;
}

bool is_page(const std::string& file) {
  const std::string ending = core::lower_ascii(std::filesystem::path(file).extension().string());
  return ending == ".html" || ending == ".htm";
}

// Without names there is nothing to lay: how many papers there are, and what is to be done.
int only_numbered(const PlanPaperArguments& a, const ScannedPapers& scanned) {
  if (a.common.json) {
    nlohmann::ordered_json document = {{"written", nullptr}, {"papers", scanned.papers}, {"labels", nullptr}};
    document["notes"] = scale_notes(scanned);
    if (!a.numbered.empty()) document["numbered"] = a.numbered;
    print_json(document);
    return kNeedsWork;
  }
  if (a.common.quiet) return kNeedsWork;
  for (const std::string& note : scale_notes(scanned)) std::printf("%s\n", note.c_str());
  for (const layout::PaperPage& page : scanned.pages) {
    for (const std::string& line : page.left_out) std::printf("left out, %s\n", line.c_str());
    for (const std::string& line : page.look_again) std::printf("look again: %s\n", line.c_str());
  }
  std::printf("no plan yet: the papers have numbers, P01 to %s, but no names; %s\n",
              layout::proposed_name(scanned.papers - 1).c_str(),
              a.numbered.empty() ? "name them by tapping with --numbered papers.html"
              : is_page(a.numbered)
                  ? ("tap them on " + a.numbered + ", and give the file it makes with --labels").c_str()
                  : ("see " + a.numbered).c_str());
  if (!is_page(a.numbered)) {
    std::printf(
        "or write a line a paper, such as P01, A03 (A: the lowest ring; 03: third counter-clockwise), into a "
        "file and give it with --labels\n");
  }
  return kNeedsWork;
}

}  // namespace

int run_plan_paper(const PlanPaperArguments& a) {
  core::Inputs inputs{a.form, a.labels};
  for (const std::string& scan : a.scans) inputs.add(scan);
  core::OutputFile out(a.out, core::FileKind::plan(), inputs);
  std::optional<core::OutputFile> numbered;
  const bool to_tap = is_page(a.numbered);
  if (!a.numbered.empty())
    numbered.emplace(a.numbered, to_tap ? core::FileKind::page() : core::FileKind::svg(), inputs);
  core::checked_name(a.trace.name, "--name");
  const layout::FormInput form = layout::read_form(a.form, a.reading);
  Progress progress(a.common.quiet || a.common.json, a.common.progress);
  const ScannedPapers scanned = read_scans(a, progress);
  if (numbered) {
    numbered->write(to_tap ? papers_to_tap(scanned.pages, scanned.pictures)
                           : numbered_papers(scanned.pages, scanned.pictures));
  }
  if (a.labels.empty()) return only_numbered(a, scanned);
  const std::vector<layout::PaperName> names = layout::read_paper_names(
      core::read_file(a.labels, 1u << 20), core::one_line(a.labels, 400), scanned.papers);
  progress.step("laying the papers on the form");
  layout::TraceOptions options = a.trace;
  options.gap_mm =
      a.gap_mm >= 0 ? a.gap_mm : layout::default_gap_mm(options.smallest_fill_mm, layout::GapSpread());
  const layout::TraceResult result =
      layout::trace_papers(scanned.pages, names, form.profile, options, a.common.threads);
  out.write(plan::write_plan(result.plan));
  std::vector<std::string> notes = form.notes;
  for (const std::string& note : scale_notes(scanned)) notes.push_back(note);
  print_papers(result, notes, a.out, a.common);
  return result.left_out.empty() && result.look_again.empty() ? kDone : kNeedsWork;
}

}  // namespace interstice::app
