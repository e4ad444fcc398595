/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "big.h"

#include <string.h>

/* A character and its rows, '#' where it is drawn. All rows of one are as wide as its first. */
struct glyph {
    const char *letter; /* UTF-8 */
    const char *rows[BIG_ROWS];
};

static const struct glyph glyphs[] = {
    { "0", { " ### ", "#   #", "#   #", "#   #", " ### " } },
    { "1", { "  #  ", " ##  ", "  #  ", "  #  ", " ### " } },
    { "2", { "#### ", "    #", " ### ", "#    ", "#####" } },
    { "3", { "#### ", "    #", " ### ", "    #", "#### " } },
    { "4", { "#  # ", "#  # ", "#####", "   # ", "   # " } },
    { "5", { "#####", "#    ", "#### ", "    #", "#### " } },
    { "6", { " ### ", "#    ", "#### ", "#   #", " ### " } },
    { "7", { "#####", "   # ", "  #  ", " #   ", " #   " } },
    { "8", { " ### ", "#   #", " ### ", "#   #", " ### " } },
    { "9", { " ### ", "#   #", " ####", "    #", " ### " } },
    { "A", { " ### ", "#   #", "#####", "#   #", "#   #" } },
    { "B", { "#### ", "#   #", "#### ", "#   #", "#### " } },
    { "C", { " ####", "#    ", "#    ", "#    ", " ####" } },
    { "D", { "#### ", "#   #", "#   #", "#   #", "#### " } },
    { "E", { "#####", "#    ", "###  ", "#    ", "#####" } },
    { "F", { "#####", "#    ", "###  ", "#    ", "#    " } },
    { "G", { " ####", "#    ", "#  ##", "#   #", " ####" } },
    { "H", { "#   #", "#   #", "#####", "#   #", "#   #" } },
    { "I", { "###", " # ", " # ", " # ", "###" } },
    { "J", { "    #", "    #", "    #", "#   #", " ### " } },
    { "K", { "#  # ", "# #  ", "##   ", "# #  ", "#  # " } },
    { "L", { "#    ", "#    ", "#    ", "#    ", "#####" } },
    { "M", { "#   #", "## ##", "# # #", "#   #", "#   #" } },
    { "N", { "#   #", "##  #", "# # #", "#  ##", "#   #" } },
    { "O", { " ### ", "#   #", "#   #", "#   #", " ### " } },
    { "P", { "#### ", "#   #", "#### ", "#    ", "#    " } },
    { "Q", { " ### ", "#   #", "# # #", "#  # ", " ## #" } },
    { "R", { "#### ", "#   #", "#### ", "#  # ", "#   #" } },
    { "S", { " ####", "#    ", " ### ", "    #", "#### " } },
    { "T", { "#####", "  #  ", "  #  ", "  #  ", "  #  " } },
    { "U", { "#   #", "#   #", "#   #", "#   #", " ### " } },
    { "V", { "#   #", "#   #", " # # ", " # # ", "  #  " } },
    { "W", { "#   #", "#   #", "# # #", "## ##", "#   #" } },
    { "X", { "#   #", " # # ", "  #  ", " # # ", "#   #" } },
    { "Y", { "#   #", " # # ", "  #  ", "  #  ", "  #  " } },
    { "Z", { "#####", "   # ", "  #  ", " #   ", "#####" } },
    { "m", { "     ", "## # ", "# # #", "# # #", "# # #" } },
    { "k", { "#   ", "#  #", "# # ", "##  ", "# ##" } },
    { "n", { "    ", "    ", "### ", "#  #", "#  #" } },
    { "p", { "    ", "### ", "#  #", "### ", "#   " } },
    { "z", { "    ", "####", "  # ", " #  ", "####" } },
    { "µ", { "    ", "#  #", "#  #", "### ", "#   " } },
    { "Ω", { " ### ", "#   #", "#   #", " # # ", "## ##" } },
    { "°", { " # ", "# #", " # ", "   ", "   " } },
    { "%", { "#   #", "   # ", "  #  ", " #   ", "#   #" } },
    { ".", { "  ", "  ", "  ", "##", "##" } },
    { ",", { "  ", "  ", "  ", "##", " #" } },
    { "-", { "    ", "    ", "####", "    ", "    " } },
    { "+", { "     ", "  #  ", "#####", "  #  ", "     " } },
    { "_", { "     ", "     ", "     ", "     ", "#####" } },
    { "/", { "    #", "   # ", "  #  ", " #   ", "#    " } },
    { ":", { "##", "##", "  ", "##", "##" } },
    { " ", { "  ", "  ", "  ", "  ", "  " } },
};

/* The character at the beginning of the text, and its bytes; NULL: there is no such glyph. */
static const struct glyph *glyph_at(const char *text, size_t *bytes)
{
    for (size_t i = 0; i < sizeof glyphs / sizeof glyphs[0]; i++) {
        *bytes = strlen(glyphs[i].letter);
        if (strncmp(text, glyphs[i].letter, *bytes) == 0)
            return &glyphs[i];
    }
    return NULL;
}

int big_width(const char *text)
{
    int width = 0;
    size_t bytes;
    for (; *text != '\0'; text += bytes) {
        const struct glyph *const glyph = glyph_at(text, &bytes);
        if (glyph == NULL)
            return 0;
        width += (int)strlen(glyph->rows[0]) + 1;
    }
    return width > 0 ? width - 1 : 0;
}

static void draw_row(const struct terminal *terminal, FILE *stream, const char *text, int row)
{
    size_t bytes;
    for (; *text != '\0'; text += bytes) {
        for (const char *at = glyph_at(text, &bytes)->rows[row]; *at != '\0'; at++)
            fputs(*at == ' ' ? " " : terminal->ascii ? "#" : "█", stream);
        fputs(text[bytes] != '\0' ? " " : "", stream);
    }
}

bool big_draw(const struct terminal *terminal, FILE *stream, enum style style, const char *text)
{
    const int width = big_width(text);
    if (width == 0 || width > terminal->columns)
        return false;
    for (int row = 0; row < BIG_ROWS; row++) {
        terminal_style(terminal, stream, style);
        draw_row(terminal, stream, text, row);
        terminal_style(terminal, stream, STYLE_PLAIN);
        fputc('\n', stream);
    }
    return true;
}
