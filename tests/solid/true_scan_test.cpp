// Mouths, throats and lengths of the built pieces of the test scans, against the truths they were rendered from.
#include <gtest/gtest.h>

#include <cmath>
#include <map>

#include "rework/truth_pieces.h"
#include "solid/mouth.h"
#include "solid/throat.h"

namespace interstice {
namespace {

using testing::read_true_shell;
using testing::scan_folder;
using testing::TrueShell;

// The scans' truth was computed elsewhere, with geometry of its own. What it means, found by agreement:
// mouth_mm is the smaller of both directions arris to body; clearance_mm the throat for walls that end at the
// stock's thickness; length_mm counts arris to arris up to 8 mm where no third piece is nearer.
class TrueScan : public ::testing::TestWithParam<const char*> {};

double quantile(std::vector<double> v, double q) {
  std::sort(v.begin(), v.end());
  return v.at(static_cast<std::size_t>(std::lround(q * static_cast<double>(v.size() - 1))));
}

TEST_P(TrueScan, mouths_and_throats_of_the_built_pieces) {
  const auto folder = scan_folder(GetParam());
  if (!folder) GTEST_SKIP() << "scan " << GetParam() << " is in neither datasets/ nor ../shared/scans";
  const TrueShell shell = read_true_shell(*folder);
  const auto bodies = shell.bodies();
  std::map<std::pair<std::string, std::string>, solid::ShellSeam> found;
  for (const solid::ShellSeam& s : solid::mouths_of_shell(bodies)) {
    found[std::minmax(shell.labels[s.a.value], shell.labels[s.b.value])] = s;
  }
  std::vector<double> mouth, throats, length;
  for (const testing::TrueSeam& t : shell.seams) {
    if (t.mouth_mm > 7.95) continue;
    const auto place = found.find(std::minmax(t.a, t.b));
    ASSERT_NE(place, found.end()) << t.a << "-" << t.b;
    const auto summary = solid::summarise_mouth(place->second.samples, shell.plan.smallest_fill_mm);
    mouth.push_back(std::abs(summary->narrowest_mm - t.mouth_mm));
    throats.push_back(
        std::abs(solid::throat_of(bodies[place->second.a], bodies[place->second.b])->width_mm - t.throat_mm));
    length.push_back(std::abs(summary->length_mm - t.length_mm));
  }
  ASSERT_GT(mouth.size(), 90u);
  EXPECT_LT(quantile(mouth, 0.5), 0.01);
  EXPECT_LT(quantile(mouth, 0.9), 0.02);
  EXPECT_LT(quantile(mouth, 1.0), 0.05);
  EXPECT_LT(quantile(throats, 0.5), 0.05);
  EXPECT_LT(quantile(throats, 0.95), 0.3);
  EXPECT_LT(quantile(length, 0.5), 2.0);
}

// Edges of pieces are smooth over a millimetre: no place is wider than both places beside it by more than the
// way between them.
TEST_P(TrueScan, no_place_stands_out_alone) {
  const auto folder = scan_folder(GetParam());
  if (!folder) GTEST_SKIP() << "scan " << GetParam() << " is in neither datasets/ nor ../shared/scans";
  std::size_t places = 0;
  for (const solid::ShellSeam& seam : solid::mouths_of_shell(read_true_shell(*folder).bodies())) {
    const std::vector<solid::MouthSample>& m = seam.samples;
    for (std::size_t k = 1; k + 1 < m.size(); ++k, ++places)
      EXPECT_LE(m[k].width_mm, std::max(m[k - 1].width_mm, m[k + 1].width_mm) + m[k + 1].s_mm - m[k - 1].s_mm)
          << seam.a.value << " " << seam.b.value << " at " << m[k].s_mm;
  }
  EXPECT_GT(places, 4000u);
}

INSTANTIATE_TEST_SUITE_P(Scans, TrueScan, ::testing::Values("plover", "godwit", "whimbrel"),
                         [](const auto& scan) { return std::string(scan.param); });

}  // namespace
}  // namespace interstice
