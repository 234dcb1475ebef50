// Text into HTML that can do no harm, and quantities a reader can switch between metric and inch.
#pragma once

#include <array>
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>

namespace interstice::report {

// Safe as HTML text and inside double-quoted attributes: markup characters become references; bytes that are
// not UTF-8 and control characters become U+FFFD.
std::string escaped(std::string_view text);

// At most `characters` code points of the text, with an ellipsis where it was cut; not escaped.
std::string shortened(const std::string& text, std::size_t characters);

// A label or file name of the maker's: escaped and kept apart from the writing direction of what stands round
// it.
std::string named(const std::string& label);
std::string seam_named(const std::array<std::string, 2>& tiles);   // as HTML
std::string seam_spoken(const std::array<std::string, 2>& tiles);  // escaped, for attributes
std::string in_drawing(const std::string& label);                  // escaped and short, for text in a drawing

std::string fixed(double x, int decimals);

// Quantities with unit, as HTML the page's script can show in inches, fluid ounces and ounces.
std::string length_html(double mm, int decimals);
std::string volume_html(double ml, int decimals);
std::string mass_html(double g);
std::string with_uncertainty_html(double mm, double u95_mm);  // "2.24 ± 0.10 mm"
// The same as <tspan> and without unit, for text in a drawing.
std::string length_in_drawing(double mm, int decimals);

// Sentences of the project's own files: escaped, quantities in mm and ml made switchable.
std::string prose(const std::string& text);

std::string base64(std::string_view bytes);
std::string jpeg_uri(std::string_view jpeg);

// A document for a <script type="application/json">: nothing in it can end the element.
std::string script_json(const nlohmann::ordered_json& document);

}  // namespace interstice::report
