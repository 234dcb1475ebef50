#include "core/kept_work.h"

#include <gtest/gtest.h>

#include <fstream>

#include "core/files.h"
#include "core/own_folder.h"

namespace interstice::core {
namespace {

class KeptWorkTest : public OwnFolder {
 protected:
  void overwrite(const fs::path& file, const std::string& bytes) {
    std::ofstream(file, std::ios::binary | std::ios::trunc) << bytes;
  }
  void SetUp() override {
    OwnFolder::SetUp();
    kept_folder_ = folder_ / "kept";
    kept_ = KeptWork(kept_folder_, "program 1");
  }
  fs::path kept_folder_;
  KeptWork kept_{"", ""};
  const std::string work_ = std::string("\0\xff work\n", 8) + std::string(60, 'x');
};

TEST_F(KeptWorkTest, GivesBackWhatWasPut) {
  EXPECT_EQ(kept_.find("a photo"), std::nullopt);
  kept_.put("a photo", work_);
  EXPECT_EQ(kept_.find("a photo"), work_);
  EXPECT_EQ(kept_.find("another photo"), std::nullopt);
  kept_.put("a photo", "newer");
  EXPECT_EQ(kept_.find("a photo"), "newer");
}

TEST_F(KeptWorkTest, WorkOfAnotherProgramCountsAsNone) {
  kept_.put("a photo", work_);
  const KeptWork other(kept_folder_, "program 2");
  EXPECT_EQ(other.find("a photo"), std::nullopt);
  fs::copy_file(kept_.file_of("a photo"), other.file_of("a photo"));  // a file under a foreign name
  EXPECT_EQ(other.find("a photo"), std::nullopt);
}

TEST_F(KeptWorkTest, ADamagedFileCountsAsNoneWhereverItIsDamaged) {
  kept_.put("a photo", work_);
  const fs::path file = kept_.file_of("a photo");
  const std::string whole = read_file(file);
  for (std::size_t i = 0; i < whole.size(); ++i) {
    std::string damaged = whole;
    damaged[i] = static_cast<char>(damaged[i] ^ 0x10);
    overwrite(file, damaged);
    EXPECT_EQ(kept_.find("a photo"), std::nullopt) << "byte " << i;
  }
  for (std::size_t size = 0; size < whole.size(); ++size) {
    overwrite(file, whole.substr(0, size));
    EXPECT_EQ(kept_.find("a photo"), std::nullopt) << "cut at " << size;
  }
  overwrite(file, whole + "more");
  EXPECT_EQ(kept_.find("a photo"), std::nullopt);
  overwrite(file, whole);
  EXPECT_EQ(kept_.find("a photo"), work_);
}

TEST_F(KeptWorkTest, ALinkIsNotFollowed) {
  kept_.put("a photo", work_);
  fs::rename(kept_.file_of("a photo"), folder_ / "elsewhere");
  fs::create_symlink(folder_ / "elsewhere", kept_.file_of("a photo"));
  EXPECT_EQ(kept_.find("a photo"), std::nullopt);
}

TEST_F(KeptWorkTest, TheOldestMakesRoomAndOnlyWorkDoes) {
  const KeptWork small(kept_folder_, "program 1", 4300);
  small.put("first", work_);
  overwrite(kept_folder_ / "letter.kept", std::string(4000, 'm'));  // the user's own, of the same ending
  fs::last_write_time(small.file_of("first"), fs::file_time_type::clock::now() - std::chrono::hours(1));
  small.put("second", work_);
  EXPECT_EQ(small.find("first"), std::nullopt);
  EXPECT_EQ(small.find("second"), work_);
  EXPECT_TRUE(fs::exists(kept_folder_ / "letter.kept"));
  small.put("too large", std::string(5000, 'y'));
  EXPECT_EQ(small.find("too large"), std::nullopt);
  EXPECT_EQ(small.find("second"), work_);
}

TEST_F(KeptWorkTest, AFolderThatCannotBeHadCostsNothingButTime) {
  const KeptWork nowhere(folder_ / "no" / "such" / "place", "program 1");
  nowhere.put("a photo", work_);
  EXPECT_EQ(nowhere.find("a photo"), std::nullopt);
}

TEST(ThisProgramTest, HasADigest) {
  EXPECT_EQ(this_program().size(), 64u);
}

}  // namespace
}  // namespace interstice::core
