// The maker's folder: every bowl with its plan, scans, photos and results, as plain folders and the documents
// that every other command takes.
//
//   FOLDER/bench.json                     what the folder is
//         .bench/                         the server's own: lock, paired devices, jobs, uploads under way
//         archive/                        bags, by `interstice archive`
//         lenses/NAME.lens.json
//         bowls/BOWL/bowl.json            name, lens, check line
//               BOWL/plan.json
//               BOWL/unrolled.png .json .svg   the traced form; labels.csv: names given by tapping
//               BOWL/scans/SCAN/scan.json   name, what it is of
//                          SCAN/photos/     as received, where they were taken removed
//                          SCAN/set-aside/  photos the maker took out; nothing is ever deleted
//                          SCAN/checks/     of each photo: what was found, a small picture; can be made anew
//                          SCAN/kept/       work on single photos, for the measuring; can be made anew
//                          SCAN/result/     by `interstice inspect`
//                          SCAN/ticks.json  what is done of the work order
//
// BOWL and SCAN are names of lower-case ASCII letters, digits and hyphens. A request never becomes a path in
// any other way than through them and fixed names, and links in the folder are not followed for it.
#pragma once

#include <filesystem>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "bench/message.h"

namespace interstice::bench {

// Whether a text is the name of a bowl's or scan's folder: 1 to 48 of a-z 0-9 -, first not a hyphen.
bool is_folder_name(const std::string& text);
// The same for photos: letters, digits, _ - and one ending.
bool is_photo_name(const std::string& text);

struct Bowl {
  std::string key;   // its folder
  std::string name;  // as the maker calls it
  std::string lens;  // file in lenses/, or none
  std::optional<double> check_line_mm;
};

// What a scan's photos are of, and so what is measured from them.
enum class ScanKind {
  ring,    // pieces glued to the form: inspect
  poured,  // the shell after a pour: refill
  drawn,   // the form with its pieces drawn on: plan trace
  form,    // the bare form: plan form
  lens,    // a card, for the phone's lens: lens
};
const char* name_of(ScanKind kind);
std::optional<ScanKind> scan_kind(const std::string& name);

struct ScanOfBowl {
  std::string bowl, key;
  std::string name;
  ScanKind kind = ScanKind::ring;
};

class Folder {
 public:
  // Made when it is not there. Throws InputError when it holds something that is no bench, or when another
  // server has it.
  explicit Folder(const std::filesystem::path& root);
  ~Folder();
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;

  const std::filesystem::path& root() const { return root_; }
  std::filesystem::path own() const { return root_ / ".bench"; }
  std::filesystem::path bowl_path(const std::string& bowl) const;
  std::filesystem::path scan_path(const std::string& bowl, const std::string& scan) const;

  std::vector<Bowl> bowls() const;  // by name
  std::optional<Bowl> bowl(const std::string& key) const;
  std::vector<ScanOfBowl> scans(const std::string& bowl) const;  // in the order they were begun
  std::optional<ScanOfBowl> scan(const std::string& bowl, const std::string& key) const;

  // Throw InputError: a name that cannot be shown, too many.
  Bowl add_bowl(const std::string& name, const std::string& plan_json);
  ScanOfBowl add_scan(const std::string& bowl, const std::string& name, ScanKind kind = ScanKind::ring);
  void change_bowl(const Bowl& bowl);
  std::string add_lens(const std::string& name, const std::string& lens_json);  // its file's name
  std::vector<std::string> lenses() const;

  // A file below the root for reading, through folders only (openat, no links); empty when it is not there.
  OpenFile open(const std::vector<std::string>& parts) const;
  std::optional<std::string> read(const std::vector<std::string>& parts, std::size_t most_bytes) const;

  // Names of the files of a folder below the root, sorted; hidden ones left out.
  std::vector<std::string> files_in(const std::filesystem::path& folder) const;

  // Bytes of the disk that are free for others than the system.
  std::uintmax_t free_bytes() const;

 private:
  std::filesystem::path root_;
  int lock_ = -1, root_descriptor_ = -1;
  std::mutex adding_;
};

}  // namespace interstice::bench
