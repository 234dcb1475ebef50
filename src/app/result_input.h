// A folder of results given where one of its files is wanted: `fit`, `pour` and `report` take the folder that
// `inspect` wrote, and find scan, fit and plan in it.
#pragma once

#include <string>

namespace interstice::app {

// The scan's own folder: the one given, or `scan` in a folder of results.
std::string scan_in(const std::string& given);
// The fit file: the one given, or fit.json in a folder of results.
std::string fit_in(const std::string& given);
// The plan named, else plan.json in the folder given or beside the file or scan given. Throws InputError where
// there is none.
std::string plan_for(const std::string& named, const std::string& given);

}  // namespace interstice::app
