// The published schemas (.docs/schemas, JSON Schema draft 7), judged by a validator that is not ours.
#pragma once

#include <gtest/gtest.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <string>
#include <valijson/adapters/nlohmann_json_adapter.hpp>
#include <valijson/schema.hpp>
#include <valijson/schema_parser.hpp>
#include <valijson/validator.hpp>

namespace interstice::testing_schemas {

using nlohmann::json;
inline const std::string kSource = INTERSTICE_SOURCE_DIR;

inline json read(const std::string& path) {
  std::ifstream in(path);
  return json::parse(in);
}

class Schema {
 public:
  explicit Schema(const std::string& name)
      : text_(read(kSource + "/.docs/schemas/" + name + ".schema.json")) {
    const valijson::adapters::NlohmannJsonAdapter adapter(text_);
    valijson::SchemaParser parser;
    parser.populateSchema(adapter, schema_);
  }
  // Nothing when the document is valid, otherwise what is wrong.
  std::string fault(const json& document) const {
    valijson::Validator validator;
    valijson::ValidationResults results;
    const valijson::adapters::NlohmannJsonAdapter adapter(document);
    if (validator.validate(schema_, adapter, &results)) return "";
    std::string all = "not valid";
    valijson::ValidationResults::Error error;
    while (results.popError(error)) {
      all += "\n";
      for (const std::string& part : error.context) all += part;
      all += ": " + error.description;
    }
    return all;
  }
  const json& required() const { return text_.at("required"); }

 private:
  json text_;
  valijson::Schema schema_;
};

// Valid as it is; not valid without any required key, nor with a value of another type.
inline void check(const std::string& name, const json& document) {
  const Schema schema(name);
  EXPECT_EQ(schema.fault(document), "") << name;
  for (const json& key : schema.required()) {
    json less = document;
    less.erase(key.get<std::string>());
    EXPECT_NE(schema.fault(less), "") << name << " without " << key;
    json other = document;
    json& value = other[key.get<std::string>()];
    value = value.is_string() ? json(7) : json("polish");
    EXPECT_NE(schema.fault(other), "") << name << " with another type for " << key;
  }
}

}  // namespace interstice::testing_schemas
