#include "rework/correction_remeasure.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "core/median.h"
#include "rework/correction_shell.h"
#include "solid/throat.h"

namespace interstice::rework {
namespace {

using Eigen::Vector3d;
using geometry::TileIndex;

constexpr double kReach_mm = 16.0;  // widths beyond are not followed

using Bodies = geometry::IndexedVector<TileIndex, solid::SolidBody>;

// The pieces whole, what turning leaves of them, and their seams.
struct Measured {
  Bodies whole, kept;
  std::map<std::pair<std::size_t, std::size_t>, solid::ShellSeam> seams;
};

Measured measured(const seams::FitDocument& fit, int threads) {
  Measured out;
  for (const seams::FitTile& t : fit.tiles) {
    const bool placed =
        t.state == plan::TileState::placed && t.arris.size() >= 3 && t.root.size() == t.arris.size();
    const solid::PieceSolid piece{t.face, t.arris, t.root};
    const solid::SolidBody whole = placed ? solid::SolidBody(piece) : solid::SolidBody();
    out.whole.push_back(whole);
    out.kept.push_back(
        !placed || !fit.finished_wall
            ? whole
            : solid::SolidBody(solid::kept_part(piece, t.face_above_arris_mm, *fit.finished_wall)));
  }
  for (solid::ShellSeam& s : solid::mouths_of_shell(out.whole, {.limit_mm = kReach_mm}, threads)) {
    out.seams[{s.a.value, s.b.value}] = std::move(s);
  }
  return out;
}

// The sample nearest to a place; null without samples.
const seams::SeamSample* nearest_sample(const seams::FitSeam& seam, const Vector3d& place) {
  const seams::SeamSample* best = nullptr;
  double nearest = std::numeric_limits<double>::infinity();
  for (const seams::SeamSample& s : seam.samples) {
    const double distance = ((s.a + s.b) / 2 - place).squaredNorm();
    if (distance < nearest) nearest = distance, best = &s;
  }
  return best;
}

// One seam's outlines before (if it was one) and after.
struct PairThen {
  const Measured* shell = nullptr;
  const solid::ShellSeam* mouths = nullptr;
};

class Remeasure {
 public:
  Remeasure(const seams::FitDocument& fit, const geometry::Profile& form, const PairThen& then,
            const PairThen& now)
      : fit_(fit), form_(form), then_(then), now_(now) {}

  void operator()(seams::FitSeam& seam) const {
    const seams::FitSeam old = seam;
    mouth(old, seam);
    throat(old, seam);
    seams::judge_again(seam, fit_.smallest_fill_mm);
  }

 private:
  solid::MouthSummary summary(const PairThen& of) const {
    return *solid::summarise_mouth(of.mouths->samples, fit_.smallest_fill_mm);
  }

  void mouth(const seams::FitSeam& old, seams::FitSeam& seam) const {
    const solid::MouthSummary after = summary(now_);
    double offset = 0;
    if (then_.mouths != nullptr && old.narrowest_mm) {
      offset = *old.narrowest_mm - summary(then_).narrowest_mm;
      if (std::abs(offset) > kMostOffset_mm) offset = 0;
    }
    seam.at = after.at;
    seam.map = form_.locate(after.at).uv;
    seam.length_mm = seam.tight_length_mm = seam.pinched_length_mm = 0;
    seam.samples.clear();
    const std::vector<solid::MouthSample>& mouths = now_.mouths->samples;
    const auto throats =
        solid::throats_along(now_.shell->kept[now_.mouths->a], now_.shell->kept[now_.mouths->b], mouths,
                             {.limit_mm = core::kWidestSeam_mm});
    for (std::size_t i = 0; i < mouths.size(); ++i) {
      const solid::MouthSample& m = mouths[i];
      const double width = m.width_mm + offset;
      if (width > core::kWidestSeam_mm) continue;
      const seams::SeamSample* near = nearest_sample(old, (m.on_a + m.on_b) / 2);
      const double usual = old.u95_mm.value_or(0) / core::kCoverage;
      seam.samples.push_back({m.s_mm, width, near ? near->sd_mm : usual, m.on_a, m.on_b});
      if (throats[i]) {
        const double sd =
            near && near->throat ? near->throat->u_mm : old.throat_u95_mm.value_or(0) / core::kCoverage;
        seam.samples.back().throat = core::Width{throats[i]->width_mm, sd};
      }
      if (m.third_nearer) continue;
      seam.length_mm += core::kSeamStep_mm;
      if (width < fit_.smallest_fill_mm) {
        seam.tight_length_mm += core::kSeamStep_mm;
      } else if (throats[i] && throats[i]->width_mm < fit_.smallest_fill_mm) {
        seam.pinched_length_mm += core::kSeamStep_mm;
      }
    }
    if (seam.verdict != seams::Verdict::unseen)
      seam.narrowest_mm = std::max(0.0, after.narrowest_mm + offset);
  }

  static std::optional<solid::Throat> throat_in(const PairThen& of) {
    if (of.mouths == nullptr) return std::nullopt;
    return solid::throat_of(of.shell->kept[of.mouths->a], of.shell->kept[of.mouths->b],
                            {.limit_mm = core::kWidestSeam_mm});
  }

  void throat(const seams::FitSeam& old, seams::FitSeam& seam) const {
    if (seam.verdict == seams::Verdict::unseen) return;
    const auto before = throat_in(then_), after = throat_in(now_);
    if (!after) {  // wider than any seam
      seam.throat_mm = seam.throat_u95_mm = std::nullopt;
      return;
    }
    double offset = before && old.throat_mm ? *old.throat_mm - before->width_mm : 0;
    if (std::abs(offset) > kMostOffset_mm) offset = 0;
    seam.throat_mm = std::max(0.0, after->width_mm + offset);
    seam.throat_at = (after->on_a + after->on_b) / 2;
    // It may lie elsewhere now: as uncertain as that place is.
    const seams::SeamSample* near = nearest_sample(old, seam.throat_at);
    if (before && (seam.throat_at - (before->on_a + before->on_b) / 2).norm() > kElsewhere_mm && near &&
        near->throat)
      seam.throat_u95_mm = core::expanded_mm(near->throat->u_mm);
    if (!seam.throat_u95_mm) seam.throat_u95_mm = usual_throat_u95();
  }

  double usual_throat_u95() const {
    std::vector<double> all;
    for (const seams::FitSeam& s : fit_.seams) {
      if (s.throat_u95_mm) all.push_back(*s.throat_u95_mm);
    }
    return all.empty() ? 0 : core::median(std::move(all));
  }

  static constexpr double kElsewhere_mm = 2.0;  // throats nearer to each other are one place

  const seams::FitDocument& fit_;
  const geometry::Profile& form_;
  PairThen then_, now_;
};

double usual_u95(const seams::FitDocument& fit) {
  std::vector<double> all;
  for (const seams::FitSeam& s : fit.seams) {
    if (s.u95_mm) all.push_back(*s.u95_mm);
  }
  return all.empty() ? 0 : core::median(std::move(all));
}

std::map<std::string, std::size_t> places_of(const seams::FitDocument& fit) {
  std::map<std::string, std::size_t> out;
  for (std::size_t i = 0; i < fit.tiles.size(); ++i) out.emplace(fit.tiles[i].label, i);
  return out;
}

// Out of each other's reach.
void open_wide(seams::FitSeam& seam) {
  seam.length_mm = seam.tight_length_mm = seam.pinched_length_mm = 0;
  seam.samples.clear();
  seam.throat_mm = seam.throat_u95_mm = std::nullopt;
  if (!seam.narrowest_mm) return;
  seam.narrowest_mm = kReach_mm;
  seam.verdict = seams::Verdict::clear;
  seam.doubt = seams::Doubt::none;
}

}  // namespace

void remeasure_seams(const seams::FitDocument& fit, const geometry::Profile& form,
                     const std::set<std::size_t>& changed, int threads, seams::FitDocument& out) {
  const Measured before = measured(fit, threads), after = measured(out, threads);
  const std::map<std::string, std::size_t> place = places_of(fit);
  std::set<std::pair<std::size_t, std::size_t>> known;
  const auto seam_in = [](const Measured& shell, const std::pair<std::size_t, std::size_t>& key) {
    const auto found = shell.seams.find(key);
    return found == shell.seams.end() ? PairThen{} : PairThen{&shell, &found->second};
  };
  for (seams::FitSeam& seam : out.seams) {
    const auto a = place.find(seam.tiles[0]), b = place.find(seam.tiles[1]);
    if (a == place.end() || b == place.end()) continue;
    const std::pair<std::size_t, std::size_t> key = std::minmax(a->second, b->second);
    known.insert(key);
    if (!changed.contains(key.first) && !changed.contains(key.second)) continue;
    const PairThen now = seam_in(after, key);
    if (now.mouths == nullptr) {
      open_wide(seam);
    } else {
      Remeasure(fit, form, seam_in(before, key), now)(seam);
    }
  }
  // Pieces that were no neighbours and have become so.
  for (const auto& [key, s] : after.seams) {
    if (known.contains(key) || (!changed.contains(key.first) && !changed.contains(key.second))) continue;
    seams::FitSeam seam;
    seam.tiles = {fit.tiles[key.first].label, fit.tiles[key.second].label};
    seam.u95_mm = usual_u95(fit);
    seam.verdict = seams::Verdict::clear;
    Remeasure(fit, form, {}, {&after, &s})(seam);
    if (*seam.narrowest_mm <= core::kWidestSeam_mm && seam.length_mm >= core::kLeastMeasuredSeam_mm)
      out.seams.push_back(seam);
  }
}

}  // namespace interstice::rework
