//! Marks on paper: bars, lines, dots and words.
//!
//! plotters draws in whole pixels, so a pixel of its own is a tenth of one on paper. It
//! writes no width to the outline of a rectangle and keeps no title or description, so
//! outlines are drawn as lines and the outermost element is ours. Words stay text: no
//! font of the machine is read.

use plotters::coord::Shift;
use plotters::element::{Circle, PathElement, Polygon, Rectangle};
use plotters::prelude::{DrawingArea, IntoDrawingArea as _, SVGBackend};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color as _, IntoFont as _, RGBColor, TextStyle};

/// Width of every chart: a phone's, in tenths.
pub(super) const WIDTH: i32 = 3_400;
/// Paper left free on both sides.
pub(super) const MARGIN: i32 = 60;
/// Height of letters: 12.8 of 340, so at least 12 on the narrowest page.
pub(super) const LETTERS: i32 = 128;

/// From one row of words and a bar to the next.
pub(super) const ROW: i32 = 350;
/// The foot of a row's words.
pub(super) const FOOT: i32 = 155;
/// Top and bottom of a row's bar.
pub(super) const BAR: (i32, i32) = (180, 285);

/// Characters that surely fit beside each other from margin to margin.
const LONGEST_LINE: usize = 46;

/// Full black, but for the print's sake not quite.
pub(super) const INK: RGBColor = RGBColor(0x1d, 0x1d, 0x1b);
/// Half as dark.
pub(super) const GREY: RGBColor = RGBColor(0x86, 0x86, 0x80);
/// Hardly darker than paper.
pub(super) const PALE: RGBColor = RGBColor(0xdd, 0xdd, 0xd6);
/// Lines that lead the eye and say nothing.
const FAINT: RGBColor = RGBColor(0xcb, 0xcb, 0xc4);

/// Where words begin, in relation to their place.
#[derive(Debug, Clone, Copy)]
pub(super) enum Side {
    /// They begin there.
    Left,
    /// Their middle is there.
    Middle,
    /// They end there.
    Right,
}

type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// Draws on one sheet.
pub(super) struct Brush<'a> {
    area: Area<'a>,
}

/// What a drawing into memory proves whenever it is unwrapped.
const TAKES_ALL: &str = "a drawing in memory takes every mark";

impl Brush<'_> {
    /// A line between two places.
    pub(super) fn line(&self, from: (i32, i32), to: (i32, i32), width: u32, colour: RGBColor) {
        let path = PathElement::new(vec![from, to], colour.stroke_width(width));
        self.area.draw(&path).expect(TAKES_ALL);
    }

    /// A line that leads the eye.
    pub(super) fn faint(&self, from: (i32, i32), to: (i32, i32)) {
        self.line(from, to, 8, FAINT);
    }

    /// A dashed line, straight across or straight down.
    pub(super) fn dashed(&self, from: (i32, i32), to: (i32, i32)) {
        let (dash, gap) = (60, 40);
        let (mut at, across) = (0, from.1 == to.1);
        let length = if across { to.0 - from.0 } else { to.1 - from.1 };
        let place = |at: i32| {
            if across {
                (from.0 + at, from.1)
            } else {
                (from.0, from.1 + at)
            }
        };
        while at < length {
            self.line(place(at), place((at + dash).min(length)), 12, INK);
            at += dash + gap;
        }
    }

    /// A path through places.
    pub(super) fn path(&self, places: Vec<(i32, i32)>) {
        let path = PathElement::new(places, GREY.stroke_width(12));
        self.area.draw(&path).expect(TAKES_ALL);
    }

    /// A bar from corner to corner, filled, with an outline.
    pub(super) fn bar(&self, from: (i32, i32), to: (i32, i32), fill: RGBColor) {
        let (left, right) = (from.0.min(to.0), from.0.max(to.0));
        let bar = Rectangle::new([(left, from.1), (right, to.1)], fill.filled());
        self.area.draw(&bar).expect(TAKES_ALL);
        let outline = vec![
            (left, from.1),
            (right, from.1),
            (right, to.1),
            (left, to.1),
            (left, from.1),
        ];
        let outline = PathElement::new(outline, INK.stroke_width(10));
        self.area.draw(&outline).expect(TAKES_ALL);
    }

    /// A dot.
    pub(super) fn dot(&self, at: (i32, i32), radius: u32) {
        let dot = Circle::new(at, radius, INK.filled());
        self.area.draw(&dot).expect(TAKES_ALL);
    }

    /// A square on its corner: a point that stands out by its shape.
    pub(super) fn diamond(&self, (x, y): (i32, i32), radius: i32) {
        let corners = vec![
            (x, y - radius),
            (x + radius, y),
            (x, y + radius),
            (x - radius, y),
        ];
        let diamond = Polygon::new(corners, INK.filled());
        self.area.draw(&diamond).expect(TAKES_ALL);
    }

    /// Words on the line whose foot is at `at`.
    pub(super) fn words(&self, at: (i32, i32), side: Side, words: &str) {
        let side = match side {
            Side::Left => HPos::Left,
            Side::Middle => HPos::Center,
            Side::Right => HPos::Right,
        };
        // plotters takes the height of a line for the size of letters.
        let font = ("sans-serif", f64::from(LETTERS) * 1.24).into_font();
        let style = TextStyle::from(font)
            .color(&INK)
            .pos(Pos::new(side, VPos::Bottom));
        self.area.draw_text(words, &style, at).expect(TAKES_ALL);
    }

    /// Words from margin to margin: on the left what, on the right how much.
    pub(super) fn row(&self, foot: i32, what: &str, how_much: &str) {
        let room = LONGEST_LINE.saturating_sub(how_much.chars().count() + 2);
        self.words((MARGIN, foot), Side::Left, &shortened(what, room));
        self.words((WIDTH - MARGIN, foot), Side::Right, how_much);
    }
}

/// At most `most` characters; what was longer ends in `…`.
fn shortened(words: &str, most: usize) -> String {
    if words.chars().count() <= most {
        return words.to_owned();
    }
    let kept: String = words.chars().take(most.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

/// An `<svg>` element of this height with what `paint` puts on it. Its words are in
/// `language`; the title and the description are told apart from others' by `id`.
pub(super) fn drawn(
    language: &str,
    (id, title, description): (&str, &str, &str),
    height: i32,
    paint: impl FnOnce(&Brush<'_>),
) -> String {
    let mut whole = String::new();
    {
        let size = (WIDTH.unsigned_abs(), height.unsigned_abs());
        let area = SVGBackend::with_string(&mut whole, size).into_drawing_area();
        paint(&Brush { area });
    }
    // What stands between plotters' own outermost tags.
    let inside = whole.split_once('>').map_or("", |(_, rest)| rest);
    let inside = inside
        .rsplit_once("</svg>")
        .map_or(inside, |(marks, _)| marks);
    let (title, description) = (escaped(title), escaped(description));
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height}\" role=\"img\" \
         lang=\"{language}\" aria-labelledby=\"{id}-title {id}-description\">\n<title id=\"{id}-title\">{title}</title>\n\
         <desc id=\"{id}-description\">{description}</desc>{inside}</svg>\n"
    )
}

/// As text of an element.
fn escaped(text: &str) -> String {
    askama::filters::escape(text, askama::filters::Html)
        .map(|safe| safe.to_string())
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_that_are_too_long_say_so() {
        assert_eq!(shortened("wren-haldane", 12), "wren-haldane");
        assert_eq!(
            shortened("wren-haldane (Wren Haldane)", 14),
            "wren-haldane…"
        );
        assert_eq!(shortened("", 0), "");
        assert_eq!(shortened("ñandú", 4), "ñan…");
    }
}
