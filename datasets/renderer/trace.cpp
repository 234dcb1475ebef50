#include "renderer/trace.h"

#include <embree3/rtcore.h>

#include <limits>
#include <stdexcept>

namespace interstice::renderer {

using Eigen::Vector3f;

struct RayScene::Handles {
  RTCDevice device = nullptr;
  RTCScene scene = nullptr;
};

namespace {

void attach(RTCDevice device, RTCScene scene, const Mesh& mesh) {
  RTCGeometry geometry = rtcNewGeometry(device, RTC_GEOMETRY_TYPE_TRIANGLE);
  // Embree reads whole 16-byte words, so its own padded buffers are used.
  auto* corner = static_cast<float*>(rtcSetNewGeometryBuffer(
      geometry, RTC_BUFFER_TYPE_VERTEX, 0, RTC_FORMAT_FLOAT3, 3 * sizeof(float), mesh.positions.size()));
  auto* index = static_cast<std::uint32_t*>(
      rtcSetNewGeometryBuffer(geometry, RTC_BUFFER_TYPE_INDEX, 0, RTC_FORMAT_UINT3, 3 * sizeof(std::uint32_t),
                              mesh.triangles.size()));
  for (const Vector3f& p : mesh.positions) {
    for (int k = 0; k < 3; ++k) *corner++ = p[k];
  }
  for (const auto& triangle : mesh.triangles) {
    for (const std::uint32_t i : triangle) *index++ = i;
  }
  rtcCommitGeometry(geometry);
  rtcAttachGeometry(scene, geometry);
  rtcReleaseGeometry(geometry);
}

void set_ray(RTCRay& ray, const Vector3f& origin, const Vector3f& direction, float near_mm, float far_mm) {
  ray.org_x = origin.x(), ray.org_y = origin.y(), ray.org_z = origin.z();
  ray.dir_x = direction.x(), ray.dir_y = direction.y(), ray.dir_z = direction.z();
  ray.tnear = near_mm;
  ray.tfar = far_mm;
  ray.time = 0;
  ray.mask = 0xffffffffu;
  ray.id = 0;
  ray.flags = 0;
}

}  // namespace

RayScene::RayScene(const std::vector<Mesh>& meshes) : handles_(std::make_unique<Handles>()) {
  handles_->device = rtcNewDevice("threads=1");
  if (handles_->device == nullptr) throw std::runtime_error("ray tracing cannot start on this processor");
  handles_->scene = rtcNewScene(handles_->device);
  rtcSetSceneFlags(handles_->scene, RTC_SCENE_FLAG_ROBUST);
  rtcSetSceneBuildQuality(handles_->scene, RTC_BUILD_QUALITY_HIGH);
  for (const Mesh& mesh : meshes) attach(handles_->device, handles_->scene, mesh);
  rtcCommitScene(handles_->scene);
}

RayScene::~RayScene() {
  if (handles_->scene != nullptr) rtcReleaseScene(handles_->scene);
  if (handles_->device != nullptr) rtcReleaseDevice(handles_->device);
}

Hit RayScene::first_hit(const Vector3f& origin, const Vector3f& direction, float near_mm) const {
  RTCIntersectContext context;
  rtcInitIntersectContext(&context);
  RTCRayHit query;
  set_ray(query.ray, origin, direction, near_mm, std::numeric_limits<float>::infinity());
  query.hit.geomID = RTC_INVALID_GEOMETRY_ID;
  query.hit.instID[0] = RTC_INVALID_GEOMETRY_ID;
  rtcIntersect1(handles_->scene, &context, &query);
  Hit hit;
  if (query.hit.geomID == RTC_INVALID_GEOMETRY_ID) return hit;
  hit.found = true;
  hit.distance = query.ray.tfar;
  hit.mesh = query.hit.geomID;
  hit.triangle = query.hit.primID;
  hit.u = query.hit.u;
  hit.v = query.hit.v;
  hit.normal = Vector3f(query.hit.Ng_x, query.hit.Ng_y, query.hit.Ng_z).normalized();
  return hit;
}

bool RayScene::blocked(const Vector3f& origin, const Vector3f& direction, float far_mm) const {
  RTCIntersectContext context;
  rtcInitIntersectContext(&context);
  RTCRay ray;
  set_ray(ray, origin, direction, 0, far_mm);
  rtcOccluded1(handles_->scene, &context, &ray);
  return ray.tfar < 0;
}

}  // namespace interstice::renderer
