// Answers to what is asked of bowls: the list, a new one, one of them.
#pragma once

#include "bench/services.h"

namespace interstice::bench {

Response bowls_answer(const Services& services);
// The body is the plan, or the form's profile; name and the rest stand in the query. For the page's script:
// {"place": "/b/plover"}.
Response new_bowl_answer(const Services& services, const Request& request);
// `request.parts`: b, BOWL, and what is asked of it.
Response answer_for_bowl(const Services& services, const Request& request, const Bowl& bowl);
Response new_lens_answer(const Services& services, const Request& request);

}  // namespace interstice::bench
