//! What the script needs of the plots, as JSON within the page.

use serde_json::Value;
use serde_json::json;

use super::safe;
use super::safe::foreign;
use crate::report::plot::Mark;
use crate::report::plot::Plot;
use crate::report::plot::Quantity;
use crate::report::series::Series;
use crate::report::text::cell::columns;

/// The data block's text, escaped for a `script` element.
pub(super) fn block<'a>(series: &Series, plots: impl Iterator<Item = &'a Plot>) -> String {
    let plots: serde_json::Map<String, Value> = plots.map(|plot| (plot.id.clone(), of(plot))).collect();
    let value = json!({ "from": series.from_s, "to": series.until_s, "plots": plots });
    safe::data_block(&value.to_string())
}

fn of(plot: &Plot) -> Value {
    let over_time = plot.x.quantity == Quantity::Time;
    let mut lines = Vec::new();
    let mut areas = Vec::new();
    let mut blocks = Vec::new();
    let mut uprights = Vec::new();
    let mut labels = Vec::new();
    let mut unwatched = Vec::new();
    let mut stems: Vec<[f64; 2]> = Vec::new();
    for mark in &plot.marks {
        match mark {
            Mark::Line { name, points, .. } => lines.push(json!([foreign(name), pairs(points)])),
            Mark::Area { name, lower, upper, .. } => {
                areas.push(json!([foreign(name), pairs(lower), pairs(upper)]));
            }
            Mark::Block { x, y, text, .. } => {
                blocks.push(json!([rounded(x.0), rounded(x.1), rounded(y.0), rounded(y.1), foreign(text)]));
            }
            Mark::Upright { x, text, .. } => uprights.push(json!([rounded(*x), foreign(text)])),
            Mark::Stem { x, y, text, .. } => {
                uprights.push(json!([rounded(*x), foreign(text)]));
                stems.push([rounded(*x), rounded(*y)]);
            }
            Mark::Unwatched { x, text } => unwatched.push(json!([rounded(x.0), rounded(x.1), foreign(text)])),
            Mark::Tag { x, y, short, long } => labels.push(json!([
                rounded(x.0),
                rounded(*y),
                foreign(short),
                rounded(x.1),
                foreign(long),
                columns(long)
            ])),
            Mark::Label { x, y, text } => labels.push(json!([rounded(*x), rounded(*y), foreign(text)])),
            Mark::Band { .. } | Mark::Level { .. } => {}
        }
    }
    json!({
        "time": over_time,
        "x": [plot.x.from, plot.x.to],
        "y": [plot.y.from, plot.y.to],
        "unit": plot.y.quantity.name(),
        "across": plot.x.quantity.name(),
        "lines": lines,
        "areas": areas,
        "blocks": blocks,
        "uprights": uprights,
        "labels": labels,
        "unwatched": unwatched,
        "stems": stems,
    })
}

fn pairs(points: &[(f64, f64)]) -> Vec<[f64; 2]> {
    points.iter().map(|(x, y)| [rounded(*x), rounded(*y)]).collect()
}

/// To a millionth: microseconds of time, and no value is told finer.
fn rounded(value: f64) -> f64 {
    if value.abs() < 1e9 { (value * 1e6).round() / 1e6 } else { value }
}
