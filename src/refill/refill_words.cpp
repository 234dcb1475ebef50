#include "refill/refill_words.h"

#include <fmt/core.h>

#include <algorithm>
#include <cstdio>
#include <numeric>

#include "core/counted.h"
#include "pour/pour_words.h"

namespace interstice::refill {
namespace {

std::string numbers(const std::vector<std::size_t>& hollows, const std::vector<std::size_t>& rank) {
  std::string out;
  for (const std::size_t i : hollows) out += (out.empty() ? "" : " ") + std::to_string(rank[i] + 1);
  return out;
}

// Lines longer than that go on below, set in.
std::string folded(const std::string& text) {
  constexpr std::size_t kWidest = 110, kSetIn = 7;
  std::string out;
  for (std::size_t from = 0; from < text.size();) {
    const std::size_t end = std::min(text.find('\n', from), text.size());
    std::string rest = text.substr(from, end - from);
    while (rest.size() > kWidest) {
      const std::size_t at = rest.rfind(' ', kWidest);
      if (at == std::string::npos || at <= kSetIn) break;
      out += rest.substr(0, at) + "\n";
      rest = std::string(kSetIn, ' ') + rest.substr(at + 1);
    }
    out += rest + "\n";
    from = end + 1;
  }
  return out;
}

// What else than pouring is asked for, once.
std::string ways_in_words(const RefillDocument& document) {
  std::string out;
  for (const Way way : {Way::open_first, Way::syringe}) {
    const auto it = std::find_if(document.advice.begin(), document.advice.end(),
                                 [&](const HollowAdvice& a) { return a.way == way; });
    if (it != document.advice.end()) out += std::string(name_of(way)) + ": " + it->words + "\n";
  }
  return out;
}

}  // namespace

std::vector<std::size_t> in_working_order(const RefillDocument& document) {
  std::vector<std::size_t> order(document.hollows.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    const Hollow &x = document.hollows[a], &y = document.hollows[b];
    if (x.kind != y.kind) return x.kind == HollowKind::slot;
    return x.opening_mm2 > y.opening_mm2;
  });
  return order;
}

Foretold foretold(const RefillDocument& document) {
  Foretold f;
  for (const RefillSeam& s : document.seams) {
    if (s.state == SeamState::unseen)
      ++f.unseen;
    else if (s.state == SeamState::filled)
      ++(s.called_clear ? f.clear_filled : f.other_filled);
    else
      ++(s.called_clear ? f.clear_hollow : f.other_hollow);
  }
  return f;
}

std::string hollow_words(const Hollow& h) {
  if (h.kind == HollowKind::pit)
    return fmt::format("burst bubble {:.1f} mm wide, {:.2f} ml at most", h.length_mm, h.volume_high_ml);
  return fmt::format("{:.0f} x {:.1f} mm open, {}{:.1f} mm deep, {:.2f} to {:.2f} ml", h.length_mm,
                     h.width_mm, h.floor_mm ? "about " : "at least ",
                     h.floor_mm.value_or(h.depth_at_least_mm), h.volume_low_ml, h.volume_high_ml);
}

std::string lean_words(const RefillPour& p) {
  return pour::words_for_tilt(p.tilt_deg, p.up);
}

std::string limit_words(const RefillDocument& document) {
  if (!document.fill_limit) return "your own smallest fill: " + document.fill_limit_words;
  return fmt::format(
      "your own smallest fill, from {} seams: {:.1f} +- {:.1f} mm (half of your seams so wide filled)",
      document.fill_limit->seams, document.fill_limit->width_mm, document.fill_limit->u95_mm);
}

std::vector<std::string> refill_cautions() {
  return {
      "Resin and hardener: gloves, eye protection and fresh air; follow the product's data sheet and local "
      "rules.",
      "Drilling and cutting into cured resin makes dust and chips: mask, eye protection, shell held fast.",
      "Depths behind an opening are what photos show; feel with a wire before you drill, and mix a little "
      "more.",
  };
}

bool nothing_left(const RefillDocument& document) {
  return document.hollows.empty() &&
         std::all_of(document.seams.begin(), document.seams.end(),
                     [](const RefillSeam& s) { return s.state == SeamState::filled; });
}

std::string refill_list(const RefillDocument& document) {
  std::string out;
  const std::vector<std::size_t> order = in_working_order(document);
  std::vector<std::size_t> rank(order.size());
  for (std::size_t k = 0; k < order.size(); ++k) rank[order[k]] = k;
  for (const std::size_t i : order) {
    const Hollow& h = document.hollows[i];
    const std::string seam = h.tiles[0] + " - " + h.tiles[1];
    out += fmt::format("{:3}  {:<13}  {}", rank[i] + 1, seam, hollow_words(h));
    out += h.best_photo.empty() ? "" : "  " + h.best_photo;
    const bool told = i < document.advice.size() && document.advice[i].way != Way::pour;
    out += (told ? std::string("  ") + name_of(document.advice[i].way) : "") + "\n";
  }
  out += ways_in_words(document);
  for (std::size_t k = 0; k < document.pours.size(); ++k) {
    const RefillPour& p = document.pours[k];
    out += fmt::format("pour {}: {}; fill {}; {:.1f} to {:.1f} ml, mix {:.0f} ml\n", k + 1, lean_words(p),
                       numbers(p.hollows, rank), p.volume_low_ml, p.volume_high_ml, p.mix_ml);
    std::string tape;
    for (const TilePair& t : p.tape) tape += (tape.empty() ? "" : ", ") + t[0] + "-" + t[1];
    if (!tape.empty()) out += "       tape, open at the upper end only: " + tape + "\n";
  }
  out += limit_words(document) + "\n";
  const Foretold f = foretold(document);
  out += fmt::format(
      "before the pour {} seams were called clear: {} filled, {} stayed hollow; of the other {}, {} "
      "filled\n",
      f.clear_filled + f.clear_hollow, f.clear_filled, f.clear_hollow, f.other_filled + f.other_hollow,
      f.other_filled);
  const auto slots =
      static_cast<std::size_t>(std::count_if(document.hollows.begin(), document.hollows.end(),
                                             [](const Hollow& h) { return h.kind == HollowKind::slot; }));
  for (const std::string& w : document.warnings) out += w + "\n";
  out += core::counted(slots, "hollow") + ", " + core::counted(document.hollows.size() - slots, "pit") +
         "; " + std::to_string(f.clear_filled + f.other_filled) + " of " +
         core::counted(document.seams.size(), "seam") + " filled, " + std::to_string(f.unseen) +
         " not seen\n";
  return folded(out);
}

}  // namespace interstice::refill
