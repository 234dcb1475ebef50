// What a camera sees of a lit scene, in linear light.
#pragma once

#include <opencv2/core.hpp>

#include "renderer/gloss.h"

namespace interstice::renderer {

// A scene ready for photos: surfaces, colours, light. The scene must outlive it.
class LitScene {
 public:
  explicit LitScene(const Scene& scene);

  // Blue, green, red, CV_32FC3, linear: 1 is a perfect white sheet on the open bench. Each pixel is the mean
  // over its square and over the lens's opening; the same for any number of threads.
  cv::Mat picture(const Shot& shot) const;

 private:
  struct Sample {
    Eigen::Vector3f light;
    std::uint32_t key;  // what was hit; differs where an edge runs
    float distance;     // along the optical axis
  };
  class Rows;
  Sample sample(const Eigen::Vector3f& origin, const Eigen::Vector3f& direction, std::uint64_t pick) const;

  const Scene& scene_;
  std::vector<Mesh> meshes_;
  RayScene rays_;
  Paint paint_;
  std::optional<Lamp> lamp_;
  Gloss gloss_;
};

}  // namespace interstice::renderer
