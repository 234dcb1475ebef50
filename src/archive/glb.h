// The measured pieces as binary glTF 2.0 (GLB; ISO/IEC 12113:2022), for viewers.
//
// Metres, +Y up as glTF wants: (x, y, z) of the bowl frame in mm becomes (x, z, -y) / 1000. One node and one
// closed mesh a placed piece, named by its label: face, walls down to the form, and the underside. Flat
// normals. Pieces without a root have only their face.
#pragma once

#include <Eigen/Core>
#include <array>
#include <string>
#include <vector>

#include "geometry/polygon.h"
#include "seams/fit_document.h"

namespace interstice::archive {

struct PieceMesh {
  std::string label;
  std::vector<Eigen::Vector3d> points;   // bowl frame, mm; three a triangle
  std::vector<Eigen::Vector3d> normals;  // unit, outward, one a point
};

// Triangles of a simple counter-clockwise polygon by cutting ears, as indices of its points. Polygons that
// cross themselves still get n - 2 triangles, some turned over.
std::vector<std::array<std::size_t, 3>> triangulated(const geometry::Polygon& polygon);

// Empty points for a piece that is not placed or has no outline.
PieceMesh mesh_of(const seams::FitTile& tile);

// The whole file. Deterministic; valid (with an empty scene) when no piece is placed.
std::string write_glb(const seams::FitDocument& fit);

}  // namespace interstice::archive
