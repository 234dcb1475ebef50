#include "bench/services.h"

namespace interstice::bench {

Response file_answer(const Folder& folder, const std::vector<std::string>& parts, const std::string& type,
                     const std::string& save_as) {
  OpenFile file = folder.open(parts);
  if (!file) return plain(404, "there is no such file");
  Response response;
  response.type = type;
  response.file = std::move(file);
  if (!save_as.empty())
    response.headers.emplace_back("Content-Disposition", "attachment; filename=\"" + save_as + "\"");
  return response;
}

Response order_job(const Services& services, const Request& request, const JobOrder& order,
                   const std::string& place) {
  const int id = services.jobs.add(order);
  services.log(order.words);
  if (request.header("accept").find("application/json") != std::string::npos)
    return json_answer("{\"job\":" + std::to_string(id) + "}");
  return see_other(place);
}

}  // namespace interstice::bench
