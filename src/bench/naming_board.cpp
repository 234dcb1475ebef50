#include "bench/naming_board.h"

#include <fmt/core.h>

#include "report/markup.h"

namespace interstice::bench {

using report::escaped;

std::string naming_board(const NamingBoard& board) {
  return "<div class=\"naming\"><div class=\"row\"><label for=\"next-name\">Next name</label><input "
         "id=\"next-name\" value=\"A01\" maxlength=\"40\" autocomplete=\"off\" autocapitalize=\"characters\" "
         "spellcheck=\"false\"><button class=\"key\" type=\"button\" id=\"next-ring\">Next "
         "ring</button><button "
         "class=\"key\" type=\"button\" id=\"undo\" disabled>Undo</button></div>"
         "<p id=\"naming-said\" role=\"status\"></p></div>"
         "<div class=\"unrolled\" tabindex=\"0\" role=\"group\" aria-label=\"" +
         escaped(board.spoken) + "\"><svg id=\"unrolled\" viewBox=\"" + board.view_box + "\">" +
         board.drawing +
         "</svg></div><div class=\"row\"><button class=\"key\" type=\"button\" id=\"larger\">Larger</button>"
         "<button class=\"key\" type=\"button\" id=\"smaller\">Smaller</button><button class=\"key main\" "
         "type=\"button\" id=\"keep-names\" disabled>" +
         escaped(board.keep) +
         "</button></div><p class=\"soft\">With the keyboard: Tab or arrows to a piece, Enter names it, "
         "Backspace takes the last name back.</p>";
}

std::string naming_piece(const std::string& label, int ring, const std::string& path, double x, double y) {
  const std::string of_ring = ring > 0 ? std::to_string(ring) : "";
  return "<g class=\"piece\" role=\"button\" tabindex=\"0\" data-label=\"" + escaped(label) +
         (ring > 0 ? "\" data-ring=\"" + of_ring : "") + "\" aria-label=\"" + escaped(label) +
         (ring > 0 ? ", ring " + of_ring : "") + ", not named\"><path d=\"" + path + "\"/><text " +
         fmt::format("x=\"{:.1f}\" y=\"{:.1f}\"", x, y) + "></text></g>";
}

}  // namespace interstice::bench
