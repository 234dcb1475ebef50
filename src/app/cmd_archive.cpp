#include <CLI/CLI.hpp>
#include <cstdio>
#include <cstdlib>
#include <memory>

#include "app/archive_text.h"
#include "app/commands.h"
#include "app/console.h"
#include "app/learn_fill.h"
#include "app/number_between.h"
#include "archive/archive.h"
#include "archive/export.h"
#include "archive/names.h"
#include "core/counted.h"
#include "core/errors.h"

namespace interstice::app {
namespace {

using Json = nlohmann::ordered_json;

constexpr double kSmallestFill_mm = 3.0;  // common practice, no source

struct ArchiveArguments {
  CommonOptions common;
  std::string archive;
};

// Paths and texts as they come from the command line.
struct AddArguments : ArchiveArguments {
  archive::AddRequest request;
  std::string results, plan, lens, notes_file, stage = "glued";
  std::vector<std::string> photos;
};

struct ListArguments : ArchiveArguments {
  archive::EntryFilter filter;
  std::string stage;
};

struct EntryArguments : ArchiveArguments {
  std::vector<std::string> entries;
};

struct ExportArguments : EntryArguments {
  std::string out;
  archive::ExportRequest request;
};

struct LearnArguments : ArchiveArguments {
  std::vector<double> shares{95, 99};
  double confidence = 95;
  std::optional<double> smallest_fill_mm;
};

void warn(const std::string& line) {
  std::fprintf(stderr, "interstice: %s\n", core::one_line(line, 600).c_str());
}

archive::Archive opened(const ArchiveArguments& arguments) {
  archive::Archive archive = archive::Archive::open(arguments.archive);
  for (const std::string& line : archive.unreadable()) warn(line + "; archive verify tells more");
  return archive;
}

int run_add(AddArguments arguments) {
  archive::AddRequest& request = arguments.request;
  request.results = arguments.results;
  request.plan = arguments.plan;
  request.lens = arguments.lens;
  request.notes_file = arguments.notes_file;
  request.photos.assign(arguments.photos.begin(), arguments.photos.end());
  request.stage = archive::piece_stage(arguments.stage, "--stage");
  archive::Archive archive = archive::Archive::open_or_make(arguments.archive);
  const archive::Added added = archive.add(request);
  const archive::Entry& e = added.entry;
  if (!added.index_fault.empty()) {
    warn("the entry is kept, but the index is not up to date (" + added.index_fault +
         "); archive rebuild mends it");
  }
  const std::string folder = archive.bag(e.id).string();
  if (arguments.common.json) {
    Json document = archive_text::entry_json(e, folder);
    document["shared_files"] = added.shared_files;
    document["left_out"] = added.left_out;
    print_json(document);
  } else if (!arguments.common.quiet) {
    std::printf("kept as %s: %s, %s", e.id.c_str(), core::counted(e.payload_files, "file").c_str(),
                archive_text::size(e.payload_bytes).c_str());
    if (added.shared_files > 0)
      std::printf("; %s stored once with other entries", core::counted(added.shared_files, "photo").c_str());
    std::printf("\n");
    for (const std::string& name : added.left_out)
      std::printf("not kept: %s\n", core::one_line(name).c_str());
  }
  return kDone;
}

int run_list(ListArguments arguments) {
  archive::EntryFilter& filter = arguments.filter;
  if (!filter.from.empty()) archive::checked_date(filter.from, "--from");
  if (!filter.to.empty()) archive::checked_date(filter.to, "--to");
  if (!arguments.stage.empty()) filter.stage = archive::piece_stage(arguments.stage, "--stage");
  const std::vector<archive::Entry> entries = opened(arguments).list(filter);
  if (arguments.common.json) {
    print_json(archive_text::list_json(entries));
  } else if (!arguments.common.quiet) {
    std::printf("%s%s\n", archive_text::list(entries).c_str(),
                core::counted(entries.size(), "entry", "entries").c_str());
  }
  return kDone;
}

int run_show(const EntryArguments& arguments) {
  const archive::Archive archive = opened(arguments);
  const archive::Entry entry = archive.find(arguments.entries.front());
  const std::string folder = archive.bag(entry.id).string();
  if (arguments.common.json) {
    print_json(archive_text::entry_json(entry, folder));
  } else if (!arguments.common.quiet) {
    std::printf("%s", archive_text::entry(entry, folder).c_str());
  }
  return kDone;
}

int run_verify(const EntryArguments& arguments) {
  const archive::Archive archive = archive::Archive::open(arguments.archive);
  std::vector<std::string> ids;
  for (const std::string& wanted : arguments.entries) {
    const std::vector<std::string> all = archive.ids();
    const bool exact =
        std::find(all.begin(), all.end(), wanted) != all.end();  // also one the index cannot read
    ids.push_back(exact ? wanted : archive.find(wanted).id);
  }
  if (ids.empty()) ids = archive.ids();
  Progress progress(arguments.common.quiet, arguments.common.progress);
  Json document = {{"entries", Json::array()}};
  std::size_t damaged = 0;
  for (const std::string& id : ids) {
    progress.step("checking " + core::one_line(id));
    const archive::Verified verified = archive.verify(id, arguments.common.threads);
    damaged += !verified.faults.empty();
    document["entries"].push_back(
        {{"entry", id}, {"whole", verified.faults.empty()}, {"faults", verified.faults}});
    if (arguments.common.json) continue;
    for (const std::string& fault : verified.faults) {
      std::printf("%s: %s\n", core::one_line(id).c_str(), core::one_line(fault, 500).c_str());
    }
  }
  if (arguments.common.json) {
    print_json(document);
  } else if (!arguments.common.quiet) {
    std::printf("%zu of %s whole%s\n", ids.size() - damaged,
                core::counted(ids.size(), "entry", "entries").c_str(),
                damaged > 0 ? "; take the damaged ones from a backup" : "");
  }
  return damaged == 0 ? kDone : kNeedsWork;
}

int run_compare(const EntryArguments& arguments) {
  const archive::Archive archive = opened(arguments);
  const archive::Entry before = archive.find(arguments.entries[0]),
                       after = archive.find(arguments.entries[1]);
  const archive::Comparison result =
      archive::compare(seams::read_fit(archive.bag(before.id) / "data" / "fit.json"),
                       seams::read_fit(archive.bag(after.id) / "data" / "fit.json"));
  if (arguments.common.json) {
    print_json(archive_text::comparison_json(result, before, after));
  } else if (!arguments.common.quiet) {
    std::printf("%s", archive_text::comparison(result, before, after).c_str());
  }
  return kDone;
}

int run_export(const ExportArguments& arguments) {
  const archive::Archive archive = opened(arguments);
  const archive::Entry entry = archive.find(arguments.entries.front());
  const archive::Exported exported =
      archive::export_entry(archive, entry.id, arguments.out, arguments.request, arguments.common.threads);
  if (arguments.common.json) {
    print_json({{"entry", entry.id},
                {"written", arguments.out},
                {"files", exported.files},
                {"bytes", exported.bytes},
                {"pictures_cleaned", exported.cleaned},
                {"left_out", exported.left_out}});
  } else if (!arguments.common.quiet) {
    std::printf("written: %s (%s, %s)\n", arguments.out.c_str(),
                core::counted(exported.files, "file").c_str(), archive_text::size(exported.bytes).c_str());
    if (!exported.cleaned.empty()) {
      std::printf("%s left with pixels, colour profile, orientation, camera and focal length only\n",
                  core::counted(exported.cleaned.size(), "picture").c_str());
    }
    for (const std::string& file : exported.left_out) {
      std::printf("not exported, as it is no picture or result: %s\n", core::one_line(file, 200).c_str());
    }
  }
  return kDone;
}

int run_rebuild(const ArchiveArguments& arguments) {
  const archive::Rebuilt rebuilt = archive::Archive::rebuild(arguments.archive, arguments.common.threads);
  for (const std::string& fault : rebuilt.faults) warn(fault + "; archive verify tells more");
  if (arguments.common.json) {
    print_json({{"entries", rebuilt.entries}, {"faults", rebuilt.faults}});
  } else if (!arguments.common.quiet) {
    std::printf("index made anew from %s\n", core::counted(rebuilt.entries, "entry", "entries").c_str());
  }
  return rebuilt.faults.empty() ? kDone : kNeedsWork;
}

int run_learn(const LearnArguments& arguments) {
  std::vector<double> shares;
  for (const double percent : arguments.shares) shares.push_back(percent / 100);
  const archive::Archive archive = opened(arguments);
  const std::vector<archive::LearnedSeam> seams = archive.seams_to_learn_from();
  const LearntFill fill = learn_fill(archive);
  // An archive of poured shells alone tells no gaps, but it tells what fills.
  std::optional<archive::Learned> gaps;
  if (!fill.limit || seams.size() >= archive::kFewestSeamsToLearnFrom) {
    const double smallest_fill_mm =
        arguments.smallest_fill_mm.value_or(fill.limit ? fill.proposed_mm : kSmallestFill_mm);
    gaps = archive::learn(seams, shares, arguments.confidence / 100, smallest_fill_mm);
  }
  if (arguments.common.json) {
    Json document = gaps ? archive_text::learned_json(*gaps) : Json::object();
    document["fill"] = learnt_fill_json(fill);
    print_json(document);
  } else if (!arguments.common.quiet) {
    std::printf("%s%s", gaps ? archive_text::learned(*gaps).c_str() : "", learnt_fill_words(fill).c_str());
  }
  return kDone;
}

// A command below `archive`: its --archive option, the common options, and what runs.
template <class Arguments, class Run>
CLI::App* add_command(CLI::App& archive, Chosen& chosen, const std::shared_ptr<Arguments>& arguments,
                      const std::string& name, const std::string& what, Run run) {
  CLI::App* command = archive.add_subcommand(name, what);
  command->add_option("--archive", arguments->archive, "Folder of the archive")
      ->envname("INTERSTICE_ARCHIVE")
      ->required();
  add_common_options(*command, arguments->common);
  command->callback([arguments, run, &chosen] { chosen.run = [arguments, run] { return run(*arguments); }; });
  return command;
}

void add_add(CLI::App& archive, Chosen& chosen) {
  const auto a = std::make_shared<AddArguments>();
  CLI::App* command =
      add_command(archive, chosen, a, "add", "Keep a scan and what was measured on it", run_add);
  command->add_option("results", a->results, "Folder that inspect wrote")->required();
  command->add_option("--plan", a->plan, "Plan (default: plan.json in the results)");
  command->add_option("--name", a->request.name,
                      "Name of the piece; all its rings share it (default: the plan's)");
  command->add_option("--date", a->request.date, "Day of the scan, such as 2026-03-14 (default: today)");
  command->add_option("--ring", a->request.ring, "Last ring glued (default: from the measurement)")
      ->check(CLI::Range(1, 1000));
  command->add_option("--stage", a->stage, "glued, poured, turned or finished (default: glued)");
  command->add_option("--wood", a->request.wood, "Wood, such as \"walnut, ash\"");
  command->add_option("--photos", a->photos, "Photos to keep: files or folders");
  command->add_option("--lens", a->lens, "Lens file used");
  command->add_option("--notes", a->notes_file, "Text file with notes");
  command->add_option("--note", a->request.notes, "A note in one line");
  command->add_flag("--again", a->request.again, "Keep it even if the same measurement is kept already");
}

void add_list(CLI::App& archive, Chosen& chosen) {
  const auto a = std::make_shared<ListArguments>();
  CLI::App* command =
      add_command(archive, chosen, a, "list", "What is kept, newest first; options narrow it", run_list);
  command->add_option("--name", a->filter.name, "Part of the name");
  command->add_option("--wood", a->filter.wood, "Part of the wood");
  command->add_option("--from", a->filter.from, "First day, such as 2026-03-01");
  command->add_option("--to", a->filter.to, "Last day");
  command->add_option("--ring", a->filter.ring, "Last ring glued")->check(CLI::Range(1, 1000));
  command->add_option("--stage", a->stage, "glued, poured, turned or finished");
  command->add_option("--narrower-than", a->filter.smallest_below_mm, "Narrowest seam below this, mm");
  command->add_option("--at-least", a->filter.smallest_from_mm, "Narrowest seam this or wider, mm");
}

}  // namespace

void add_archive_command(CLI::App& app, Chosen& chosen) {
  CLI::App* archive = app.add_subcommand("archive", "Keep scans of pieces, find, check and compare them");
  archive->require_subcommand(1);
  add_add(*archive, chosen);
  add_list(*archive, chosen);
  const auto show = std::make_shared<EntryArguments>();
  add_command(*archive, chosen, show, "show", "One entry in full", run_show)
      ->add_option("entry", show->entries, "Entry, the start of one, or a piece's name")
      ->required()
      ->expected(1);
  const auto verify = std::make_shared<EntryArguments>();
  add_command(*archive, chosen, verify, "verify", "Check that no kept file has changed, gone or come",
              run_verify)
      ->add_option("entry", verify->entries, "Entries (default: all)");
  const auto comparison = std::make_shared<EntryArguments>();
  add_command(*archive, chosen, comparison, "compare", "What changed between two scans of one piece",
              run_compare)
      ->add_option("entry", comparison->entries, "Earlier and later entry")
      ->required()
      ->expected(2);
  const auto exported = std::make_shared<ExportArguments>();
  CLI::App* export_command = add_command(*archive, chosen, exported, "export",
                                         "Copy an entry out, of photos no more than the picture", run_export);
  export_command->add_option("entry", exported->entries, "Entry")->required()->expected(1);
  export_command->add_option("--out", exported->out, "New folder to write")->required();
  export_command->add_flag("--keep-location", exported->request.keep_location,
                           "Export photos as they are kept, place and all");
  export_command->add_flag("--without-photos", exported->request.without_photos, "Leave the photos out");
  const auto rebuild = std::make_shared<ArchiveArguments>();
  add_command(*archive, chosen, rebuild, "rebuild", "Make the index anew from the kept entries", run_rebuild);
  const auto learning = std::make_shared<LearnArguments>();
  CLI::App* learn_command = add_command(*archive, chosen, learning, "learn",
                                        "How gaps come out, and the gap to plan next time", run_learn);
  learn_command->add_option("--share", learning->shares, "Seams to fill, percent (default: 95 and 99)")
      ->check(number_between(50.1, 99.99));
  learn_command->add_option("--confidence", learning->confidence, "How sure to be, percent (default: 95)")
      ->check(number_between(50.1, 99.99));
  learn_command
      ->add_option("--smallest-fill", learning->smallest_fill_mm,
                   "Narrowest width resin fills, mm (default: what poured pieces tell, else 3)")
      ->check(number_between(0.05, 50.0));
}

}  // namespace interstice::app
