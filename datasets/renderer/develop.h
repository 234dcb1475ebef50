// From linear light to a JPEG file as a phone writes it.
#pragma once

#include <opencv2/core.hpp>
#include <string>

#include "renderer/cameras.h"

namespace interstice::renderer {

// The picture moved along a straight line while it was taken, its middle where it was; pixels, linear light.
cv::Mat smeared(const cv::Mat& linear, const Eigen::Vector2d& line_px);

// Lens blur, sensor noise (shot and read), tone curve (sRGB, IEC 61966-2-1, with the camera's own on top), the phone's
// processing, unsharp masking; CV_8UC3. `noise` is that of the plain curve.
cv::Mat developed(const cv::Mat& linear, const CameraOptions& camera, std::uint64_t seed);

// JPEG bytes with EXIF: maker and model of our own, time, focal length in 35 mm terms, orientation.
std::string photo_file(const cv::Mat& picture, const Shot& shot, const CameraOptions& camera, int number);

}  // namespace interstice::renderer
