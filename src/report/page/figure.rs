//! A plot in the page: drawn for a wide and a narrow screen around one set of data.

use maud::Markup;
use maud::PreEscaped;
use maud::html;

use super::safe::foreign;
use crate::report::plot::Colour;
use crate::report::plot::Plot;
use crate::report::plot::Quantity;
use crate::report::plot::draw;
use crate::report::plot::draw::Frame;
use crate::report::text::kept_together;

/// Widths that a plot is drawn for, pixels: a page of paper or more, and a telephone.
pub(super) const WIDTHS: [(u32, &str); 2] = [(960, "wide"), (370, "narrow")];

/// A plot with its title, what has to be known to read it, and its legend.
pub(super) fn figure(plot: &Plot) -> Markup {
    let (inner, width, height) = draw::data_box(plot);
    let data = format!("{}-data", plot.id);
    let over_time = plot.x.quantity == Quantity::Time;
    html! {
        figure id=(plot.id) {
            figcaption {
                strong { (foreign(&plot.title)) }
                @if !plot.note.is_empty() { " " span.note { (foreign(&kept_together(&plot.note))) } }
            }
            div.stage data-plot=(plot.id) data-over-time[over_time] role="img" aria-label=(label(plot)) {
                svg.store aria-hidden="true" {
                    symbol id=(data) viewBox={ "0 0 " (width) " " (height) } preserveAspectRatio="none" {
                        (PreEscaped(inner))
                    }
                }
                @for (width, class) in WIDTHS { (drawn(&draw::frame(plot, width), class, &data)) }
            }
            p.readout hidden {}
            @if !plot.legend.is_empty() {
                ul.legend {
                    @for (colour, name) in &plot.legend { li { (swatch(*colour)) (foreign(name)) } }
                }
            }
        }
    }
}

fn drawn(frame: &Frame, class: &str, data: &str) -> Markup {
    let (left, top, width, height) = frame.data;
    html! {
        svg class={ "plot " (class) } viewBox={ "0 0 " (frame.width) " " (frame.height) } aria-hidden="true"
            data-box={ (left) " " (top) " " (width) " " (height) } {
            g.values { (PreEscaped(&frame.frame)) }
            g.times { (PreEscaped(&frame.x_axis)) }
            use href={ "#" (data) } x=(left) y=(top) width=(width) height=(height) {}
            g.labels { (PreEscaped(&frame.labels)) }
            g.cursor {}
        }
    }
}

fn swatch(colour: Colour) -> Markup {
    let (red, green, blue) = colour.rgb();
    html! {
        svg.swatch viewBox="0 0 14 14" aria-hidden="true" {
            rect width="14" height="14" fill=(format!("#{red:02X}{green:02X}{blue:02X}")) {}
        }
    }
}

fn label(plot: &Plot) -> String {
    let legend: Vec<String> = plot.legend.iter().map(|(_, name)| foreign(name)).collect();
    format!("Plot: {}. {} {}", foreign(&plot.title), foreign(&plot.note), legend.join("; "))
}
