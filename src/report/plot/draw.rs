//! Plots as SVG, by plotters.
//!
//! A plot is drawn in layers: the frame with its grid and values, the time line, labels, and the data in a box of its own
//! that can be stretched. A page zooms by showing a part of that box and writing the time line anew.

use std::ops::Range;

use plotters::coord::Shift;
use plotters::coord::ranged1d::DefaultFormatting;
use plotters::coord::ranged1d::KeyPointHint;
use plotters::coord::ranged1d::Ranged;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::Cartesian2d;
use plotters::prelude::ChartBuilder;
use plotters::prelude::ChartContext;
use plotters::prelude::Color;
use plotters::prelude::DrawingArea;
use plotters::prelude::DrawingAreaErrorKind;
use plotters::prelude::DrawingBackend;
use plotters::prelude::EmptyElement;
use plotters::prelude::IntoDrawingArea;
use plotters::prelude::IntoFont;
use plotters::prelude::PathElement;
use plotters::prelude::Polygon;
use plotters::prelude::RGBColor;
use plotters::prelude::Rectangle;
use plotters::prelude::SVGBackend;
use plotters::prelude::Text;
use plotters::style::text_anchor::HPos;
use plotters::style::text_anchor::Pos;
use plotters::style::text_anchor::VPos;

use super::Axis;
use super::Colour;
use super::Mark;
use super::Plot;
use super::Quantity;
use super::ticks;
use crate::report::text::cell::columns;

/// Units of the data's box for a pixel, as plotters draws in whole units and the box is stretched.
const FINENESS: u32 = 8;
/// The data's box before it is stretched, pixels.
const BOX: (u32, u32) = (1000, 240);
/// Text, plotters' points: 1.24 for a pixel of CSS.
pub(super) const TEXT: f64 = 15.0;
/// What a letter takes at the most on average, pixels; text is not measured, as no font is at hand here (chosen).
const LETTER: f64 = 7.0;
/// Room under the plot for the line of times.
const FOOT: u32 = 26;
/// Room at the left for values.
const SIDE: u32 = 74;
/// Width of a picture of its own, pixels.
pub(super) const WIDTH: u32 = 960;
/// Narrower than this a plot has fewer lines across, pixels.
const NARROW: u32 = 600;
/// Blocks narrower than one part of so many are drawn as a line too (chosen: two pixels).
const INSTANT: f64 = 400.0;
/// Room above and at the right.
const MARGIN: u32 = 10;

/// What stands around the data, for one width.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::report) struct Frame {
    /// Pixels.
    pub(in crate::report) width: u32,
    /// Pixels.
    pub(in crate::report) height: u32,
    /// Where the data are: left, top, width and height in pixels.
    pub(in crate::report) data: (i32, i32, i32, i32),
    /// SVG of the grid and the values.
    pub(in crate::report) frame: String,
    /// SVG of the x axis.
    pub(in crate::report) x_axis: String,
    /// SVG of labels in the data.
    pub(in crate::report) labels: String,
}

type Chart<'a, B> = ChartContext<'a, B, Cartesian2d<Scale, Scale>>;
type Drawn<T, B> = Result<T, DrawingAreaErrorKind<<B as DrawingBackend>::ErrorType>>;

/// An axis for plotters, with our own lines.
#[derive(Clone)]
struct Scale {
    from: f64,
    to: f64,
    bold: Vec<f64>,
    light: Vec<f64>,
}

impl Scale {
    fn of(axis: &Axis, has_lines: bool) -> Self {
        let (bold, light) = if has_lines {
            (axis.ticks.iter().map(|(at, _)| *at).collect(), axis.between.clone())
        } else {
            (Vec::new(), Vec::new())
        };
        Self { from: axis.from, to: axis.to, bold, light }
    }
}

impl Ranged for Scale {
    type FormatOption = DefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, limit: (i32, i32)) -> i32 {
        // What lies far outside is as far outside at a hundred widths (chosen); further, the library's integers overflow.
        let far = (self.to - self.from).abs() * 100.0;
        let value = value.max(self.from.min(self.to) - far).min(self.from.max(self.to) + far);
        RangedCoordf64::from(self.from..self.to).map(&value, limit)
    }

    fn key_points<Hint: KeyPointHint>(&self, hint: Hint) -> Vec<f64> {
        if hint.weight().allow_light_points() { self.light.clone() } else { self.bold.clone() }
    }

    fn range(&self) -> Range<f64> {
        self.from..self.to
    }
}

pub(super) fn rgb(colour: Colour) -> RGBColor {
    let (red, green, blue) = colour.rgb();
    RGBColor(red, green, blue)
}

/// A plot on any of plotters' backends: frame, axes and data, without the labels in them.
///
/// # Errors
/// Those of the backend.
pub(super) fn whole<B: DrawingBackend>(plot: &Plot, area: &DrawingArea<B, Shift>) -> Drawn<(), B> {
    let mut chart = chart(plot, area, true, true)?;
    grid(plot, &mut chart)?;
    across(plot, &chart)?;
    data(plot, chart.plotting_area())
}

/// SVG of the labels in the data at a width.
pub(super) fn labels_at(plot: &Plot, width: u32) -> String {
    svg((width, plot.height), |area| labels(plot, &chart(plot, area, false, false)?))
}

/// What stands around the data at a width.
pub(in crate::report) fn frame(plot: &Plot, width: u32) -> Frame {
    let height = plot.height;
    let plot = &if width < NARROW { sparse(plot) } else { plot.clone() };
    let mut drawn = Frame {
        width,
        height,
        data: (0, 0, 0, 0),
        frame: String::new(),
        x_axis: String::new(),
        labels: String::new(),
    };
    drawn.frame = svg((width, height), |area| {
        let mut chart = chart(plot, area, false, true)?;
        let (x, y) = chart.plotting_area().get_pixel_range();
        drawn.data = (x.start, y.start, x.end - x.start, y.end - y.start);
        grid(plot, &mut chart)
    });
    drawn.x_axis = svg((width, height), |area| {
        let mut chart = chart(plot, area, true, false)?;
        grid(plot, &mut chart)?;
        across(plot, &chart)
    });
    drawn.labels = labels_at(plot, width);
    drawn
}

/// With fewer lines across, so that what stands at them has room.
fn sparse(plot: &Plot) -> Plot {
    let mut plot = plot.clone();
    if plot.x.quantity == Quantity::Time {
        plot.x = ticks::time(plot.x.from, plot.x.to, 3);
    } else {
        let mut index = 0_u32;
        plot.x.ticks.retain(|_| {
            index += 1;
            !index.is_multiple_of(2)
        });
    }
    plot
}

/// The data alone, and the size of their box.
pub(in crate::report) fn data_box(plot: &Plot) -> (String, u32, u32) {
    let size = (BOX.0 * FINENESS, BOX.1 * FINENESS);
    let inner = svg(size, |area| {
        let (x, y) = (Scale::of(&plot.x, false), Scale::of(&plot.y, false));
        // Pixels count from above.
        let (across, down) = area.get_pixel_range();
        let coordinates = Cartesian2d::new(x, y, (across, down.end..down.start));
        data(plot, &area.apply_coord_spec(coordinates))
    });
    (inner, size.0, size.1)
}

/// What `draw` draws, without the outermost element. An SVG in memory cannot fail; were it to, less is drawn.
fn svg(
    size: (u32, u32),
    draw: impl FnOnce(&DrawingArea<SVGBackend<'_>, Shift>) -> Drawn<(), SVGBackend<'static>>,
) -> String {
    let mut text = String::new();
    {
        let area = SVGBackend::with_string(&mut text, size).into_drawing_area();
        let drawn = draw(&area);
        debug_assert!(drawn.is_ok(), "an SVG in memory takes everything");
        let presented = area.present();
        debug_assert!(presented.is_ok(), "an SVG in memory takes everything");
    }
    let inner = text.split_once('>').map_or("", |(_, inner)| inner);
    let inner = inner.rsplit_once("</svg>").map_or(inner, |(inner, _)| inner);
    inner.trim().to_owned()
}

/// The place of everything, with the lines of those axes that are asked for.
fn chart<'a, B: DrawingBackend>(
    plot: &Plot,
    area: &'a DrawingArea<B, Shift>,
    x_lines: bool,
    y_lines: bool,
) -> Drawn<Chart<'a, B>, B> {
    let (x, y) = (Scale::of(&plot.x, x_lines), Scale::of(&plot.y, y_lines));
    let right = right_of(plot);
    let side = if plot.y.quantity == Quantity::Rows { MARGIN } else { SIDE };
    ChartBuilder::on(area)
        .margin_top(MARGIN)
        .margin_right(right)
        .x_label_area_size(FOOT)
        .y_label_area_size(side)
        .build_cartesian_2d(x, y)
}

/// Room at the right: values of many digits stand in the middle under the last line.
fn right_of(plot: &Plot) -> u32 {
    if plot.x.quantity == Quantity::Exponent { 4 * MARGIN } else { 2 * MARGIN }
}

fn grid<B: DrawingBackend>(plot: &Plot, chart: &mut Chart<'_, B>) -> Drawn<(), B> {
    let name = |axis: &Axis, value: f64| {
        let near = |tick: &&(f64, String)| (tick.0 - value).abs() <= (axis.to - axis.from).abs() * 1e-9;
        axis.ticks.iter().find(near).map(|tick| tick.1.clone()).unwrap_or_default()
    };
    let y_name = |value: &f64| name(&plot.y, *value);
    let (ink, line) = (rgb(Colour::Ink), rgb(Colour::Grid));
    let style = ("sans-serif", TEXT).into_font().color(&ink);
    let mut mesh = chart.configure_mesh();
    mesh.label_style(style).bold_line_style(line).light_line_style(line.mix(0.45)).axis_style(line);
    // Those across are drawn by `across`, where none is cut off.
    mesh.x_label_formatter(&|_| String::new()).y_label_formatter(&y_name);
    mesh.draw()
}

/// What stands under the lines across: in the middle under its line, at the edges within them, as a part of a number is
/// another number. What would stand upon its neighbour is left out.
fn across<B: DrawingBackend>(plot: &Plot, chart: &Chart<'_, B>) -> Drawn<(), B> {
    let area = chart.plotting_area();
    let (span, _) = area.get_pixel_range();
    let width = f64::from(span.end - span.start);
    let side = if plot.y.quantity == Quantity::Rows { MARGIN } else { SIDE };
    let mut free_from = f64::MIN;
    for (at, text) in &plot.x.ticks {
        let place = (at - plot.x.from) / (plot.x.to - plot.x.from) * width;
        let long = takes(text);
        let (position, left) = if place < long / 2.0 - f64::from(side) {
            (HPos::Left, place)
        } else if place + long / 2.0 > width + f64::from(right_of(plot)) {
            (HPos::Right, place - long)
        } else {
            (HPos::Center, place - long / 2.0)
        };
        if left < free_from {
            continue;
        }
        free_from = left + long + LETTER;
        let style =
            ("sans-serif", TEXT).into_font().color(&rgb(Colour::Ink)).pos(Pos::new(position, VPos::Top));
        area.draw(&(EmptyElement::at((*at, plot.y.from)) + Text::new(text.clone(), (0, 8), style)))?;
    }
    Ok(())
}

/// Pixels that text takes at the most.
fn takes(text: &str) -> f64 {
    f64::from(u32::try_from(columns(text)).unwrap_or(u32::MAX)) * LETTER
}

fn labels<B: DrawingBackend>(plot: &Plot, chart: &Chart<'_, B>) -> Drawn<(), B> {
    let ink = rgb(Colour::Ink);
    let (across, _) = chart.plotting_area().get_pixel_range();
    let pixels =
        |x: &(f64, f64)| (x.1 - x.0) / (plot.x.to - plot.x.from) * f64::from(across.end - across.start);
    for mark in &plot.marks {
        let (x, y, text) = match mark {
            Mark::Label { x, y, text } => (*x, *y, text),
            Mark::Tag { x, y, short, long } => (x.0, *y, if takes(long) <= pixels(x) { long } else { short }),
            _ => continue,
        };
        let style = ("sans-serif", TEXT).into_font().color(&ink);
        chart.plotting_area().draw(&Text::new(text.clone(), (x, y), style))?;
    }
    Ok(())
}

fn data<B: DrawingBackend>(plot: &Plot, area: &DrawingArea<B, Cartesian2d<Scale, Scale>>) -> Drawn<(), B> {
    for mark in &plot.marks {
        match mark {
            Mark::Line { colour, points, .. } => {
                // One point alone: a line to itself, which a round cap makes a dot.
                let ends = if let [one] = points.as_slice() { vec![*one, *one] } else { points.clone() };
                if !ends.is_empty() {
                    area.draw(&PathElement::new(ends, rgb(*colour).stroke_width(2)))?;
                }
            }
            Mark::Area { colour, lower, upper, .. } => {
                let outline: Vec<(f64, f64)> =
                    upper.iter().copied().chain(lower.iter().rev().copied()).collect();
                if outline.len() > 2 {
                    area.draw(&Polygon::new(outline, rgb(*colour).filled()))?;
                }
            }
            Mark::Band { from, to } => {
                let corners = [(plot.x.from, *to), (plot.x.to, *from)];
                area.draw(&Rectangle::new(corners, rgb(Colour::Band).filled()))?;
            }
            Mark::Block { x, y, colour, .. } => {
                area.draw(&Rectangle::new([(x.0, y.1), (x.1, y.0)], rgb(*colour).filled()))?;
                // An instant, or nearly one, would not be seen.
                if x.1 - x.0 < (plot.x.to - plot.x.from) / INSTANT {
                    area.draw(&PathElement::new(vec![(x.0, y.0), (x.0, y.1)], rgb(*colour).stroke_width(3)))?;
                }
            }
            Mark::Upright { x, colour, .. } => {
                let ends = vec![(*x, plot.y.from), (*x, plot.y.to)];
                area.draw(&PathElement::new(ends, rgb(*colour).stroke_width(2)))?;
            }
            Mark::Stem { x, y, colour, .. } => {
                let ends = vec![(*x, plot.y.from), (*x, *y)];
                area.draw(&PathElement::new(ends, rgb(*colour).stroke_width(2)))?;
            }
            Mark::Unwatched { x, .. } => {
                let corners = [(x.0, plot.y.to), (x.1, plot.y.from)];
                area.draw(&Rectangle::new(corners, rgb(Colour::Grid).filled()))?;
            }
            Mark::Level { y, colour } => {
                let ends = vec![(plot.x.from, *y), (plot.x.to, *y)];
                area.draw(&PathElement::new(ends, rgb(*colour).stroke_width(2)))?;
            }
            Mark::Label { .. } | Mark::Tag { .. } => {}
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::plot::ticks;

    fn plot(marks: Vec<Mark>) -> Plot {
        Plot {
            id: "test".to_owned(),
            title: "a test".to_owned(),
            note: String::new(),
            x: ticks::time(0.0, 60.0, 5),
            y: ticks::values(-10.0, 10.0, 5, Quantity::Nanoseconds),
            marks,
            legend: Vec::new(),
            height: 200,
        }
    }

    fn line(points: Vec<(f64, f64)>) -> Plot {
        plot(vec![Mark::Line { name: "offset".to_owned(), colour: Colour::Voice(0), points }])
    }

    #[test]
    fn a_series_without_points_draws_its_frame_and_no_data() {
        let empty = line(Vec::new());
        assert_eq!(data_box(&empty).0, "");
        let frame = frame(&empty, 960);
        assert!(frame.x_axis.contains("30 s") && frame.frame.contains("10 ns"), "{frame:?}");
        assert!(frame.data.2 > 800 && frame.data.3 > 100, "{:?}", frame.data);
    }

    #[test]
    fn one_point_is_a_line_to_itself_at_its_place() {
        let (drawn, width, height) = data_box(&line(vec![(30.0, 0.0)]));
        let middle = format!("{},{}", width / 2, height / 2);
        assert_eq!(drawn.matches(&middle).count(), 2, "{drawn}");
    }

    #[test]
    fn higher_values_stand_higher_and_later_ones_farther_right() {
        let (drawn, width, _) = data_box(&line(vec![(0.0, -10.7), (60.0, 10.7)]));
        let points = drawn.split("points=\"").nth(1).and_then(|rest| rest.split('"').next()).unwrap();
        let ends: Vec<Vec<u32>> = points
            .split_whitespace()
            .map(|point| point.split(',').map(|number| number.parse().unwrap()).collect())
            .collect();
        assert_eq!((ends[0][0], ends[1][0]), (0, width));
        assert!(ends[0][1] > ends[1][1], "{points}");
    }

    #[test]
    fn a_narrow_frame_has_fewer_times_and_the_same_height() {
        let (wide, narrow) = (frame(&line(Vec::new()), 960), frame(&line(Vec::new()), 370));
        let texts = |frame: &Frame| frame.x_axis.matches("<text").count();
        assert!(texts(&narrow) < texts(&wide), "{} {}", texts(&narrow), texts(&wide));
        assert_eq!(wide.height, narrow.height);
    }

    #[test]
    fn what_stands_at_the_edges_is_not_cut_off() {
        let mut rows = plot(Vec::new());
        rows.x = ticks::time(-1.0, 1.0, 4);
        rows.y.quantity = Quantity::Rows;
        let drawn = frame(&rows, 960).x_axis;
        let anchor = |text: &str| {
            let before = drawn.split(text).next().unwrap();
            let tag = before.rsplit("<text").next().unwrap().to_owned();
            tag.split("text-anchor=\"").nth(1).map(|rest| rest.split('"').next().unwrap().to_owned())
        };
        assert_eq!(anchor("−1.0 s").as_deref(), Some("start"), "{drawn}");
        assert_eq!(anchor("0.0 s").as_deref(), Some("middle"), "{drawn}");
        rows.x = ticks::time(0.0, 2.5 * 86_400.0, 5);
        let drawn = frame(&rows, 960).x_axis;
        let tag = drawn.split("2 d 12 h").next().unwrap().rsplit("<text").next().unwrap();
        assert!(tag.contains("text-anchor=\"end\""), "{drawn}");
    }

    #[test]
    fn labels_are_escaped() {
        let drawn = frame(&plot(vec![Mark::Label { x: 1.0, y: 1.0, text: "<script>&\"".to_owned() }]), 960);
        assert!(drawn.labels.contains("&lt;script&gt;&amp;&quot;"), "{}", drawn.labels);
        assert!(!drawn.labels.contains("<script"));
    }

    #[test]
    fn a_whole_plot_has_axes_and_data_in_one_picture() {
        let mut text = String::new();
        {
            let area = SVGBackend::with_string(&mut text, (640, 200)).into_drawing_area();
            whole(&line(vec![(0.0, 1.0), (60.0, 2.0)]), &area).unwrap();
            area.present().unwrap();
        }
        assert!(text.starts_with("<svg") && text.contains("30 s") && text.contains("10 ns"));
        assert!(text.contains("stroke=\"#1F5F6B\""), "{text}");
    }
}
