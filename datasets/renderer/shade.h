// What colour the surfaces are: wood with grain, paper with ink, the primed form with pencil lines, the
// bench. Reflectances are linear, red green blue, 0 to 1.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "renderer/card_print.h"
#include "renderer/mesh.h"

namespace interstice::renderer {

// Smooth noise from hashed lattice values, mean about 0, within -1 to 1.
float smooth_noise(const Eigen::Vector3f& p, std::uint32_t seed);

struct ResinPaint {
  Eigen::Vector3f body = Eigen::Vector3f::Zero();             // red green blue, what it scatters back
  Eigen::Vector3f absorbed_per_mm = Eigen::Vector3f::Zero();  // where it is clear
  float scattered_per_mm = 0;  // the part of the light that turns back within a millimetre, where it is clear
  float flakes = 0;            // how much single metal flakes differ
  bool clear = false;
};

// Throws InputError for names that are none; "" is no resin.
ResinPaint resin_paint(const std::string& name);

class Paint {
 public:
  explicit Paint(const Scene& scene);

  struct Touch {
    Eigen::Vector3f reflectance;
    bool ink = false;  // on a card: printed black; on a face: pencilled
  };
  Touch at(const Mesh& mesh, const Eigen::Vector3f& position, Part part = Part::other) const;
  // One colour for the whole surface, for light that bounces off it.
  Eigen::Vector3f mean(const Mesh& mesh) const;

 private:
  struct Wood {
    Eigen::Vector3f early, late;  // between and on the growth lines
    float ring_mm, contrast, fibre;
    Eigen::Vector3f heart, along;  // a point on the tree's axis and its direction, in the piece's frame
    std::uint32_t seed;
    Eigen::Matrix3f axes;  // to the piece's frame
    Eigen::Vector3f origin;
    cv::Mat label;  // 255 where pencilled; none: nothing written
    Eigen::Vector2f label_x,
        label_start;  // of the writing, in the piece's frame: along the line; top left corner
  };
  static Wood cut_wood(const Scene& scene, std::size_t piece);
  Eigen::Vector3f wood_at(const Wood& wood, const Eigen::Vector3f& position) const;
  Eigen::Vector3f form_at(const Eigen::Vector3f& position) const;
  static void write_label(const Scene& scene, std::size_t piece, Wood& wood);
  // What is left of the light where the piece's label is pencilled.
  static float label_at(const Wood& wood, const Eigen::Vector3f& position);
  void draw_pencil(const Scene& scene);

  std::vector<Wood> woods_;
  struct Card {
    CardPrint print;
    CardPlace place;
  };
  std::vector<Card> cards_;
  float form_grey_;
  Eigen::Vector3f resin_;  // what it scatters back
  std::uint32_t seed_;
  const Form* form_;
  cv::Mat pencil_;  // on the map, 0.25 mm a pixel; 255 where drawn
};

}  // namespace interstice::renderer
