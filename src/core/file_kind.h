// What kind of file an output is, and whether a file that stands in its place is an earlier one of ours.
//
// JSON documents of a format that nobody edits by hand are known by their "format". Everything else that
// interstice writes ends (DXF: begins) with a seal: a comment with the SHA-256 of the rest. So a file is
// known as ours and untouched since; one that was edited, signed or annotated is somebody's own work.
#pragma once

#include <string>
#include <string_view>

namespace interstice::core {

class FileKind {
 public:
  // A JSON document by its "format".
  static FileKind json(std::string format) { return {Form::json, std::move(format), "a JSON document"}; }
  static FileKind plan() { return {Form::sealed_json, "", "a plan"}; }
  static FileKind form() { return {Form::sealed_json, "", "a form file"}; }
  static FileKind pdf() { return {Form::pdf, "", "a PDF"}; }
  static FileKind svg() { return {Form::markup, "<svg", "an SVG drawing"}; }
  static FileKind page() { return {Form::markup, "<html", "an HTML page"}; }
  static FileKind png() { return {Form::png, "", "a PNG picture"}; }
  static FileKind dxf() { return {Form::dxf, "", "a DXF drawing"}; }
  // For files that only we know: whatever stands there may be replaced.
  static FileKind any() { return {Form::any, "", "a file"}; }

  // The bytes as they are to be written, with the seal where this kind has one.
  std::string sealed(std::string_view bytes) const;
  // Whether a file of this content is an earlier one of this kind, as we wrote it. An empty file is: nothing
  // is lost with it.
  bool may_replace(std::string_view content) const;
  const std::string& words() const { return words_; }

 private:
  enum class Form { any, json, sealed_json, pdf, markup, png, dxf };
  FileKind(Form form, std::string mark, std::string words)
      : form_(form), mark_(std::move(mark)), words_(std::move(words)) {}

  Form form_;
  std::string mark_;  // "format" of a JSON document, first element of markup
  std::string words_;
};

// Whether a content is one that interstice wrote, of whatever kind: a document of a format of ours, or
// sealed.
bool is_ours(std::string_view content);

// What a content looks like, for a line to the user: "a JPEG picture", "a text", "a file of another kind".
std::string what_it_is(std::string_view content);

}  // namespace interstice::core
