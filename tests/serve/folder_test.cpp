#include "bench/folder.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "bench/measuring_orders.h"
#include "bench/ticks.h"
#include "core/own_folder.h"

namespace interstice::bench {
namespace {

class FolderTest : public OwnFolder {
 protected:
  fs::path root() const { return folder_ / "bench"; }
};

TEST_F(FolderTest, IsMadeAndFoundAgain) {
  std::string key;
  {
    Folder folder(root());
    key = folder.add_bowl("Plover, walnut", "{}").key;
    EXPECT_EQ(key, "plover-walnut");
    EXPECT_EQ(folder.add_scan(key, "Ring 1").key, "001-ring-1");
    EXPECT_EQ(folder.add_scan(key, "Ring 2").key, "002-ring-2");
  }
  Folder folder(root());
  ASSERT_EQ(folder.bowls().size(), 1u);
  EXPECT_EQ(folder.bowls()[0].name, "Plover, walnut");
  ASSERT_EQ(folder.scans(key).size(), 2u);
  EXPECT_EQ(folder.scans(key)[1].name, "Ring 2");
  Bowl bowl = *folder.bowl(key);
  bowl.check_line_mm = 149.62;
  folder.change_bowl(bowl);
  EXPECT_EQ(folder.bowl(key)->check_line_mm, 149.62);
}

TEST_F(FolderTest, AFolderOfOtherThingsIsLeftAlone) {
  put(root() / "holiday.txt", "mine");
  const std::string line = line_of([&] { Folder folder(root()); });
  EXPECT_TRUE(says(line, "holiday.txt")) << line;
  EXPECT_EQ(names(root()), Names{"holiday.txt"});
}

TEST_F(FolderTest, ASecondServerSaysSo) {
  Folder folder(root());
  const std::string line = line_of([&] { Folder second(root()); });
  EXPECT_TRUE(says(line, "another bench is open on this folder")) << line;
}

TEST_F(FolderTest, NamesThatCannotBeShownAreRefusedOthersAreFoldersOfTheirOwn) {
  Folder folder(root());
  EXPECT_NE(line_of([&] { folder.add_bowl("", ""); }), "");
  EXPECT_NE(line_of([&] { folder.add_bowl("a\nb", ""); }), "");
  EXPECT_NE(line_of([&] { folder.add_bowl("abc\xe2\x80\xae txt", ""); }), "");
  EXPECT_NE(line_of([&] { folder.add_bowl(std::string(5000, 'a'), ""); }), "");
  for (const char* name :
       {"../../etc", "<img src=x onerror=alert(1)>", ".", "a/b", "Plover", "Plover", "\xd7\xa9\xd7\x9c"}) {
    const std::string key = folder.add_bowl(name, "").key;
    EXPECT_TRUE(is_folder_name(key)) << key;
  }
  EXPECT_EQ(folder.bowls().size(), 7u);
  for (const char* name : {"", "..", "a/b", "A", "a.b", "-a", "a b"})
    EXPECT_FALSE(is_folder_name(name)) << name;
  for (const char* name : {"", "..", ".a", "a/b", "-a.jpg", "a b", "a\\b"})
    EXPECT_FALSE(is_photo_name(name)) << name;
}

TEST_F(FolderTest, NoLinkLeadsOut) {
  Folder folder(root());
  put(folder_ / "secret", "secret");
  const std::string bowl = folder.add_bowl("Bowl", "").key;
  put(root() / "bowls" / bowl / "file", "fine");
  fs::create_symlink(folder_ / "secret", root() / "bowls" / bowl / "link");
  fs::create_directory_symlink(folder_, root() / "bowls" / "out");
  ASSERT_EQ(::mkfifo((root() / "bowls" / bowl / "pipe").c_str(), 0600), 0);
  EXPECT_EQ(folder.read({"bowls", bowl, "file"}, 100), "fine");
  EXPECT_FALSE(folder.read({"bowls", bowl, "link"}, 100));
  EXPECT_FALSE(folder.read({"bowls", "out", "secret"}, 100));
  EXPECT_FALSE(folder.read({"bowls", "..", "..", "secret"}, 100));
  EXPECT_FALSE(folder.read({"..", "secret"}, 100));
  EXPECT_FALSE(folder.read({"../secret"}, 100));
  EXPECT_FALSE(folder.open({"bowls", bowl, "pipe"}));
  EXPECT_FALSE(folder.open({"bowls", bowl}));
  EXPECT_FALSE(folder.bowl("out"));
  EXPECT_EQ(folder.bowls().size(), 1u);
}

TEST_F(FolderTest, MeasuringSeesEarlierScansAndNoLaterOnes) {
  Folder folder(root());
  const Bowl bowl = folder.add_bowl("Bowl", "{}");
  const ScanOfBowl first = folder.add_scan(bowl.key, "Ring 1"), second = folder.add_scan(bowl.key, "Ring 2"),
                   third = folder.add_scan(bowl.key, "Ring 3");
  EXPECT_TRUE(says(line_of([&] { measuring_order(folder, bowl, first); }), "no photos"));
  for (const ScanOfBowl& scan : {first, second, third})
    put(folder.scan_path(bowl.key, scan.key) / "photos/a.jpg", "x");
  EXPECT_EQ(measuring_order(folder, bowl, first).steps.size(), 1u);
  for (const ScanOfBowl& scan : {first, third})
    put(folder.scan_path(bowl.key, scan.key) / "result/result.json", "{}");
  const JobOrder order = measuring_order(folder, bowl, second);
  ASSERT_EQ(order.steps.size(), 2u);
  std::string page;
  for (const std::string& argument : order.steps[1]) page += argument + " ";
  EXPECT_NE(page.find(first.key), std::string::npos);
  EXPECT_EQ(page.find(third.key), std::string::npos);
}

TEST_F(FolderTest, EveryKindOfScanIsMeasuredByItsOwnCommand) {
  Folder folder(root());
  Bowl bowl = folder.add_bowl("Bowl", "");
  bowl.check_line_mm = 149.6;
  bowl.lens = folder.add_lens("my phone", "{}");
  const auto words = [&](const ScanOfBowl& scan) {
    put(folder.scan_path(bowl.key, scan.key) / "photos/a.jpg", "x");
    const JobOrder order = measuring_order(folder, bowl, scan);
    std::string out;
    for (const std::string& argument : order.steps.at(0)) out += argument + " ";
    return out;
  };
  const auto begins = [](const std::string& text, const std::string& with) { return text.starts_with(with); };
  const ScanOfBowl form = folder.add_scan(bowl.key, "Form", ScanKind::form);
  EXPECT_EQ(folder.scan(bowl.key, form.key)->kind, ScanKind::form) << "kept with the scan";
  EXPECT_TRUE(begins(words(form), "plan form ")) << words(form);
  EXPECT_TRUE(begins(words(folder.add_scan(bowl.key, "Drawn", ScanKind::drawn)), "plan trace "));
  const std::string lens = words(folder.add_scan(bowl.key, "Lens", ScanKind::lens));
  EXPECT_TRUE(begins(lens, "lens "));
  EXPECT_EQ(lens.find("--lens"), std::string::npos) << lens;
  const ScanOfBowl ring = folder.add_scan(bowl.key, "Ring 1"),
                   poured = folder.add_scan(bowl.key, "Poured", ScanKind::poured);
  EXPECT_TRUE(says(line_of([&] { words(ring); }), "has no plan yet"));
  EXPECT_TRUE(says(line_of([&] { words(poured); }), "no measured ring"));
  put(folder.bowl_path(bowl.key) / "plan.json", "{}");
  EXPECT_TRUE(begins(words(ring), "inspect "));
  for (const char* part : {"--lens", "my-phone.lens.json", "--check-line 149.6", "--replace"})
    EXPECT_NE(words(ring).find(part), std::string::npos) << part;
  put(folder.scan_path(bowl.key, ring.key) / "result/result.json", "{}");
  EXPECT_TRUE(begins(words(poured), "refill "));
  EXPECT_NE(words(poured).find("--after " + (folder.scan_path(bowl.key, ring.key) / "result").string()),
            std::string::npos);
}

TEST_F(FolderTest, TicksAreKeptForEachResult) {
  Ticks ticks;
  const fs::path file = folder_ / "ticks.json";
  ticks.set(file, "one", "work-1", true);
  ticks.set(file, "one", "pour-2", true);
  ticks.set(file, "one", "work-1", true);
  ticks.set(file, "two", "work-9", true);
  EXPECT_EQ(Ticks().of(file, "one"), (std::vector<std::string>{"pour-2", "work-1"}));
  ticks.set(file, "one", "pour-2", false);
  EXPECT_EQ(ticks.of(file, "one"), std::vector<std::string>{"work-1"});
  EXPECT_EQ(ticks.of(file, "two"), std::vector<std::string>{"work-9"});
  EXPECT_TRUE(ticks.of(file, "three").empty());
  for (const std::string& id : {std::string(), std::string("<b>"), std::string(100, 'a'), std::string("a b")})
    EXPECT_NE(line_of([&] { ticks.set(file, "one", id, true); }), "") << id;
}

}  // namespace
}  // namespace interstice::bench
