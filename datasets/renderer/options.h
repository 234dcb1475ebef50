// Everything that can be chosen about a rendered scene, in one struct with defaults, so that a test sweeps
// one field at a time. Millimetres, degrees, pixels (centre of the first pixel at (0, 0)).
#pragma once

#include <cstdint>
#include <string>
#include <vector>

namespace interstice::renderer {

// Meridian (r / a)^p + (z / b)^p = 1, p = `fullness`: 2 is an ellipse, larger a fuller shape. The rim is
// where a part `cut` of its height is cut off: 0 gives an upright rim, more a sloping one.
struct FormOptions {
  double rim_radius_mm = 112;
  double height_mm = 103.5;
  double fullness = 2.2;
  double cut = 0;
  double error_mm = 0;  // the true form leaves its drawing by up to this, smoothly, the same all round
};

struct LayoutOptions {
  double piece_size_mm = 40;
  double planned_gap_mm = 3.7;  // between the planned faces
  double smallest_fill_mm = 3.0;
  double thickness_mm = 14;
  double bevel_deg = 0;  // 0: the least whole degree, at least 10, that keeps roots clear of each other
  double corner_radius_mm = 4;
  double irregularity = 1;  // 0: even rows of like pieces
  double turn_deg = 0;      // the whole layout turned about the axis
  int pieces = 0;           // keep only so many, nearest to theta = 0 on the lower rings; 0: the whole shell
  int rings_placed = 0;     // rings glued on when the photos are taken; 0: all
  int missing = 0;          // pieces of the placed rings left off
};

// How far the built pieces are from the plan (standard deviations unless said otherwise).
struct BuildOptions {
  double shift_mm = 0.65;
  double turn_deg = 1.2;
  double tilt_deg = 1.6;
  double lift_max_mm = 0.6;  // uniform from 0
  double cut_error_mm = 0.15;
  double bevel_error_deg = 1.0;
  double broken_arris_mm = 0.3;  // size of the round on the arris
  // Instead: broken unevenly, from a sharp saw cut to well sanded, piece by piece and round each; most 0: off.
  double corner_least_mm = 0.05, corner_most_mm = 0;
  double waver_deg = 0;  // standard deviation of the bevel round each piece, smooth
  double round_mm = 0;   // faces are crowned or cupped by up to this, middle over edge
  bool glue_beads = true;
  double glue_in_seams = 0;  // share of the seams that show squeezed-out glue, below the mouth
};

struct LookOptions {
  // Names of woods: maple, oak, cherry, walnut, blackwood, padauk, ash; taken at random.
  std::vector<std::string> woods = {"maple", "oak", "cherry", "walnut", "ash"};
  double form_grey = 0.36;
  bool pencil_lines = true;     // planned footprints drawn on the form
  double pencil_jitter_mm = 0;  // standard deviation of the drawn lines from the footprints
  bool labels = false;          // each piece's label pencilled on its face
  double side_light = 0;        // strength of one small lamp from the side; 0: none
};

// Resin poured between the pieces (poured.h).
struct ResinOptions {
  std::string colour;       // black, blue, white, metallic or amber (clear); "": the shell is dry
  double gloss = 1;         // 1: as much as a refractive index of 1.5 mirrors
  double roughness = 0.12;  // of the surface: standard deviation of its slopes
  // Over flush with the faces: below 0 sunk, with menisci at the wood; above 0 proud, and over the pieces' rims.
  double level_mm = 0;
  double limit_mm = 2.9, spread_mm = 0.15;  // mouth of which half the seams fill; the logistic rise about it
  double least_depth_mm = 2.5, most_depth_mm = 8;
  int pits = 0;  // burst bubbles
  double step_mm = 0.3;
};

inline constexpr int kAllCards = -1;

struct CardOptions {
  std::vector<int> cards = {1, 2, 3, 4, 5, 6};
  double print_scale = 1;  // printed size over nominal size
  // What misleads: one card (its number; 0: none) of another print, one that was pushed along the ring after
  // the first `moved_after` photos, or all of them alike (kAllCards): as if the form had been pushed.
  int odd = 0;
  double odd_scale = 1;  // over print_scale
  int moved = 0;
  double moved_mm = 0;
  int moved_after = 0;
  double curl_mm = 0;  // each sheet is part of a cylinder, its far ends up to this over or under its middle
};

// The same form with the same pieces once more, behind the first as most photos see it (theta = 180 degrees).
struct SecondBowlOptions {
  double distance_mm = 0;  // between the axes; 0: none
  std::vector<int> cards;  // lying round it; numbers may be those of the first
};

struct CameraOptions {
  std::string name = "R1";
  int width_px = 1600, height_px = 1200;
  double focal_px = 0;      // 0: 0.747 of the picture's width
  double focal_spread = 0;  // refocusing: relative standard deviation of the focal length between photos
  double k1 = 0.052, k2 = -0.118, k3 = 0.061, p1 = 0.00035, p2 = -0.00042;
  double footprint_mm = 0.36;  // at the place aimed at, centre of the picture
  int photos = 16;
  int session = 0;           // the same shell photographed anew: other poses, cards, noise
  double arc_deg = 360;      // azimuths round the form, centred on theta = 0
  int portrait_every = 0;    // every so manieth photo is held upright; 0: none
  double aperture_mm = 1.6;  // diameter of the entrance pupil: sets the blur away from the focused distance
  double blur_px = 0.6;      // standard deviation of the lens's and sensor's own blur
  double noise = 2;          // grey levels at mid grey, standard deviation
  double sharpen = 0.4;      // amount of unsharp masking
  int jpeg_quality = 93;
  // Rolling shutter: x and y shifts that grow along the rows, up to this over the frame, drawn for each photo.
  double row_shift_px = 0;
  double lens_wave_px = 0;  // what Brown's model leaves, RMS of x and of y: smooth, the same in all photos
  // So large a share of the photos is smeared along a random line half to all of motion_px long.
  double motion_share = 0, motion_px = 3;
  double processing = 0;  // 0 to 1: denoising, local contrast, sharpening with halos, JPEG 82 at 1
  double tone = 0;        // 0 to 1: an S-shaped curve over sRGB; at 1 half as steep again at mid grey
};

struct SamplingOptions {
  int interior_samples = 2;  // a pixel
  int edge_samples = 16;     // where surfaces meet within a pixel or next to it
  int light_rays = 96;       // a lighting point
  double light_step_mm = 1.2;
  int threads = 1;
};

struct SceneOptions {
  std::string name = "scene";
  std::uint64_t seed = 1;
  FormOptions form;
  LayoutOptions layout;
  BuildOptions build;
  LookOptions look;
  ResinOptions resin;
  CardOptions cards;
  SecondBowlOptions second_bowl;
  CameraOptions camera;
  SamplingOptions sampling;
};

// Throws InputError naming the option, its value and its limits.
void check_options(const SceneOptions& options);

// Ready-made scenes, each a few changes to the defaults: "bowl" (complete shell, about 60 pieces), "cup" and
// "platter" (other forms), "ring" (one ring), "patch" (six pieces on a small form: the cheapest that a
// whole inspection takes), "lens" (one card alone, for calibration). Throws InputError for other names.
SceneOptions preset(const std::string& name);

}  // namespace interstice::renderer
