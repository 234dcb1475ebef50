// From linear light to a JPEG file as a phone writes it.
#pragma once

#include <opencv2/core.hpp>
#include <string>

#include "renderer/cameras.h"

namespace interstice::renderer {

// Lens blur, sensor noise (shot and read), tone curve (sRGB, IEC 61966-2-1), unsharp masking; CV_8UC3.
cv::Mat developed(const cv::Mat& linear, const CameraOptions& camera, std::uint64_t seed);

// JPEG bytes with EXIF: maker and model of our own, time, focal length in 35 mm terms, orientation.
std::string photo_file(const cv::Mat& picture, const Shot& shot, const CameraOptions& camera, int number);

}  // namespace interstice::renderer
