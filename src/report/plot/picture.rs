//! A plot as a picture that stands alone: title above, what its colours are and what has to be known below.

use plotters::coord::Shift;
use plotters::prelude::Color;
use plotters::prelude::DrawingArea;
use plotters::prelude::DrawingAreaErrorKind;
use plotters::prelude::DrawingBackend;
use plotters::prelude::IntoDrawingArea;
use plotters::prelude::IntoFont;
use plotters::prelude::RGBColor;
use plotters::prelude::Rectangle;
use plotters::prelude::SVGBackend;
use plotters::prelude::Text;

use super::Colour;
use super::Plot;
use super::draw::TEXT;
use super::draw::WIDTH;
use super::draw::labels_at;
use super::draw::rgb;
use super::draw::whole;
use crate::report::format::plain;
use crate::report::text::cell;

/// Text of the title, plotters' points.
const TITLE: f64 = 19.0;
/// Height of a line of text, pixels.
const LINE: i32 = 20;
/// Room at the left and right, pixels.
const EDGE: i32 = 12;
/// What a column of text takes at the most on average, pixels; text is not measured, as no font is at hand here (chosen).
const COLUMN: i32 = 8;
/// Room above the legend, pixels.
const GAP: i32 = 6;
/// Side of a colour's square, pixels.
const SQUARE: i32 = 12;

type Drawn<B> = Result<(), DrawingAreaErrorKind<<B as DrawingBackend>::ErrorType>>;

/// What stands below, and where.
struct Foot {
    /// Left edge, line, colour, name.
    legend: Vec<(i32, i32, Colour, String)>,
    /// Lines of the note, from this one on.
    note: (i32, Vec<String>),
}

impl Foot {
    fn of(plot: &Plot) -> Self {
        let room = pixels(WIDTH) - EDGE;
        let (mut left, mut line) = (EDGE, 0);
        let mut legend = Vec::new();
        for (colour, name) in &plot.legend {
            let name = plain(name);
            let width = columns(&name).saturating_mul(COLUMN).saturating_add(SQUARE + 2 * EDGE);
            if left > EDGE && left.saturating_add(width) > room {
                left = EDGE;
                line += 1;
            }
            legend.push((left, line, *colour, name));
            left = left.saturating_add(width);
        }
        let from = if legend.is_empty() { 0 } else { line + 1 };
        let fits = usize::try_from((room - EDGE) / COLUMN).unwrap_or(1);
        Self { legend, note: (from, wrapped(&plain(&plot.note), fits)) }
    }

    fn height(&self) -> u32 {
        let lines = i32::try_from(self.note.1.len()).unwrap_or(i32::MAX).saturating_add(self.note.0);
        u32::try_from(lines.saturating_mul(LINE).saturating_add(GAP + EDGE)).unwrap_or(0)
    }
}

fn pixels(number: u32) -> i32 {
    i32::try_from(number).unwrap_or(i32::MAX)
}

fn columns(text: &str) -> i32 {
    i32::try_from(cell::columns(text)).unwrap_or(i32::MAX)
}

/// Lines of at most so many columns, broken between words.
fn wrapped(text: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut().filter(|line| cell::columns(line) + 1 + cell::columns(word) <= most) {
            Some(line) => {
                line.push(' ');
                line.push_str(word);
            }
            None => lines.push(word.to_owned()),
        }
    }
    lines
}

/// A whole plot as SVG on white.
pub(super) fn picture(plot: &Plot) -> String {
    let foot = Foot::of(plot);
    let head = u32::try_from(LINE + EDGE).unwrap_or_default();
    let height = head.saturating_add(plot.height).saturating_add(foot.height());
    let mut text = String::new();
    {
        let area = SVGBackend::with_string(&mut text, (WIDTH, height)).into_drawing_area();
        let drawn = area.fill(&RGBColor(255, 255, 255)).and_then(|()| {
            let (above, rest) = area.split_vertically(pixels(head));
            let (middle, below) = rest.split_vertically(pixels(plot.height));
            write(&above, TITLE, (EDGE, EDGE), plain(&plot.title))?;
            whole(plot, &middle)?;
            draw_foot(&foot, &below)
        });
        debug_assert!(drawn.is_ok(), "an SVG in memory takes everything");
        let presented = area.present();
        debug_assert!(presented.is_ok(), "an SVG in memory takes everything");
    }
    let text = match text.rsplit_once("</svg>") {
        Some((drawn, after)) => format!("{drawn}{}</svg>{after}", outlined(&labels_at(plot, WIDTH), head)),
        None => text,
    };
    // XML has no such characters (1.0, section 2.2), and a name may.
    text.replace(['\u{fffe}', '\u{ffff}'], "\u{fffd}")
}

/// Labels with a white line around each letter: they stand upon colours of which some are dark.
fn outlined(labels: &str, down: u32) -> String {
    format!(
        "<g transform=\"translate(0 {down})\" stroke=\"#FFFFFF\" stroke-width=\"3.5\" stroke-linejoin=\"round\" \
         paint-order=\"stroke\">\n{labels}\n</g>\n"
    )
}

fn write<B: DrawingBackend>(
    area: &DrawingArea<B, Shift>,
    size: f64,
    place: (i32, i32),
    text: String,
) -> Drawn<B> {
    area.draw(&Text::new(text, place, ("sans-serif", size).into_font().color(&rgb(Colour::Ink))))
}

fn draw_foot<B: DrawingBackend>(foot: &Foot, area: &DrawingArea<B, Shift>) -> Drawn<B> {
    for (left, line, colour, name) in &foot.legend {
        let top = line.saturating_mul(LINE).saturating_add(GAP);
        let corners = [(*left, top), (left.saturating_add(SQUARE), top.saturating_add(SQUARE))];
        area.draw(&Rectangle::new(corners, rgb(*colour).filled()))?;
        write(area, TEXT, (left.saturating_add(SQUARE + EDGE / 2), top), name.clone())?;
    }
    let (from, lines) = &foot.note;
    for (line, text) in (*from..).zip(lines) {
        write(area, TEXT, (EDGE, line.saturating_mul(LINE).saturating_add(GAP)), text.clone())?;
    }
    Ok(())
}
