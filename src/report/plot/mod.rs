//! Plots: what is drawn, apart from how. A [`Plot`] is made of the document and the series ([`charts`]), and drawn with
//! plotters ([`draw`]); its points are thinned so that no extreme is lost ([`thin`]).

pub(super) mod charts;
mod distributions;
pub(super) mod draw;
mod lettering;
mod load;
mod picture;
mod rows;
mod thin;
pub(super) mod ticks;

use super::document::DeviceDocument;
use super::document::Document;
use super::format::plain;
use super::format::plain_short;
use super::series::Series;

/// Domains with plots; a capture of hundreds would make a page nobody can open (chosen).
const DOMAINS_DRAWN: usize = 8;

/// A plot as a picture of its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// Names it: letters, digits and hyphens.
    pub name: String,
    /// What it shows.
    pub title: String,
    /// SVG on white.
    pub svg: String,
}

/// Every plot that the page has, as pictures of their own.
#[must_use]
pub fn pictures(document: &Document, series: &Series) -> Vec<Picture> {
    Plots::of(document, series).all().map(of_plot).collect()
}

/// The same for a font that has only some letters: for each other one stand question marks, and a note says so.
#[must_use]
pub fn pictures_with(document: &Document, series: &Series, has: impl Fn(char) -> bool) -> Vec<Picture> {
    Plots::of(document, series).all().map(|plot| of_plot(&lettering::with(plot, &has))).collect()
}

fn of_plot(plot: &Plot) -> Picture {
    Picture { name: plot.id.clone(), title: plain(&plot.title), svg: picture::picture(plot) }
}

/// Every plot, by where it stands.
pub(super) struct Plots {
    pub(super) leaders: Option<Plot>,
    /// The places of all domains in the document, in the order in which they are told: the site's first.
    pub(super) order: Vec<usize>,
    /// Those of each domain, in that order; the last ones have none.
    pub(super) domains: Vec<Vec<Plot>>,
    pub(super) load: Option<Plot>,
    pub(super) members: Option<Plot>,
}

impl Plots {
    pub(super) fn of(document: &Document, series: &Series) -> Self {
        let order = order(document);
        let domain = |(index, place): (usize, &usize)| {
            let (domain, time) = (document.domains.get(*place)?, series.domains.get(*place)?);
            let at = charts::At { document, domain, time, series };
            let plots = [
                charts::offset(index, &at),
                charts::path_delay(index, &at),
                distributions::sync_intervals(index, time),
                distributions::delays(index, time),
                distributions::stability(index, domain),
            ];
            Some(plots.into_iter().flatten().collect())
        };
        Self {
            leaders: rows::leaders(document, series, &order),
            domains: order.iter().take(DOMAINS_DRAWN).enumerate().filter_map(domain).collect(),
            load: load::load(series, |key| named_device(document, key)),
            members: rows::members(document, series),
            order,
        }
    }

    pub(super) fn all(&self) -> impl Iterator<Item = &Plot> {
        let single = self.leaders.iter().chain(&self.load).chain(&self.members);
        single.chain(self.domains.iter().flatten())
    }
}

/// The site's domains first, then the others as the document has them.
pub(super) fn order(document: &Document) -> Vec<usize> {
    let is_other = |index: &usize| {
        let key = document.domains.get(*index).map(|domain| &domain.key);
        key.is_none_or(|key| !document.site_domain.keys.contains(key))
    };
    let mut order: Vec<usize> = (0..document.domains.len()).collect();
    order.sort_by_key(is_other);
    order
}

/// A device's name where it has one, else its key.
fn named_device(document: &Document, key: &str) -> String {
    let known = document.devices.iter().find(|device| device.key == key);
    plain_short(known.and_then(|device| device.name.as_deref()).unwrap_or(key))
}

/// The name of a clock's device, where that has one.
fn name_of_clock(document: &Document, clock: &str) -> Option<String> {
    let of = |device: &&DeviceDocument| device.clocks.iter().any(|own| own == clock);
    document.devices.iter().find(of).and_then(|device| device.name.as_deref()).map(plain_short)
}

/// A clock, after the name of its device where that has one.
fn named(document: &Document, clock: &str) -> String {
    name_of_clock(document, clock).map_or_else(|| clock.to_owned(), |name| format!("{name} ({clock})"))
}

/// A port, after the name of its device where that has one.
fn named_port(document: &Document, port: &str) -> String {
    let clock = port.rsplit_once('/').map_or(port, |(clock, _)| clock);
    match named(document, clock).strip_suffix(&format!("{clock})")) {
        Some(name) => format!("{name}{port})"),
        None => port.to_owned(),
    }
}

/// One plot.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Plot {
    /// Names it in the page: letters, digits and hyphens.
    pub(super) id: String,
    /// What it shows, with the unit of its values. May hold text from packets.
    pub(super) title: String,
    /// What has to be known to read it. May hold text from packets.
    pub(super) note: String,
    /// From left to right.
    pub(super) x: Axis,
    /// From below to above; rows from above to below.
    pub(super) y: Axis,
    /// In order of drawing.
    pub(super) marks: Vec<Mark>,
    /// Colours by name, in the order of their first mark.
    pub(super) legend: Vec<(Colour, String)>,
    /// Height in pixels where it is 960 wide.
    pub(super) height: u32,
}

/// An axis. Values of a logarithmic one are the exponents of ten.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Axis {
    pub(super) from: f64,
    pub(super) to: f64,
    /// Where lines are drawn, with their labels.
    pub(super) ticks: Vec<(f64, String)>,
    /// Where thin lines are drawn.
    pub(super) between: Vec<f64>,
    /// What its values are.
    pub(super) quantity: Quantity,
}

/// What the values of an axis are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Quantity {
    /// Seconds from the first frame.
    Time,
    /// Nanoseconds.
    Nanoseconds,
    /// Bits a second.
    BitsPerSecond,
    /// Per cent of all.
    PerCent,
    /// Rows with names.
    Rows,
    /// Exponents of ten; labels tell.
    Exponent,
}

impl Quantity {
    /// Its name in the page's data.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Time => "s",
            Self::Nanoseconds => "ns",
            Self::BitsPerSecond => "b/s",
            Self::PerCent => "%",
            Self::Rows => "row",
            Self::Exponent => "10^",
        }
    }
}

/// Something drawn.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Mark {
    /// Values joined by a line.
    Line { name: String, colour: Colour, points: Vec<(f64, f64)> },
    /// The area between two lines of the same times.
    Area { name: String, colour: Colour, lower: Vec<(f64, f64)>, upper: Vec<(f64, f64)> },
    /// A band over the whole width.
    Band { from: f64, to: f64 },
    /// A block; `text` is told on hovering over it.
    Block { x: (f64, f64), y: (f64, f64), colour: Colour, text: String },
    /// An upright line over the whole height.
    Upright { x: f64, colour: Colour, text: String },
    /// An upright line from the bottom to a value.
    Stem { x: f64, y: f64, colour: Colour, text: String },
    /// A time of which nothing is known, over the whole height.
    Unwatched { x: (f64, f64), text: String },
    /// A level line over the whole width.
    Level { y: f64, colour: Colour },
    /// Short text that begins at a place.
    Label { x: f64, y: f64, text: String },
    /// Text in a block, the longer one where it has room.
    Tag { x: (f64, f64), y: f64, short: String, long: String },
}

/// What a colour is for. The page exchanges them for those of its light and dark forms.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Colour {
    /// Lines and text.
    Ink,
    /// Grids.
    Grid,
    /// Bands.
    Band,
    /// What is wrong, and limits.
    Alarm,
    /// One of eight that differ in lightness too.
    Voice(u8),
}

impl Colour {
    /// Red, green, blue on white. The page finds them by these very values.
    pub(super) const fn rgb(self) -> (u8, u8, u8) {
        match self {
            Self::Ink => (0x1b, 0x24, 0x30),
            Self::Grid => (0xd5, 0xd0, 0xc4),
            Self::Band => (0xdc, 0xe6, 0xe4),
            Self::Alarm => (0xa8, 0x1e, 0x2d),
            Self::Voice(number) => match number % 8 {
                0 => (0x1f, 0x5f, 0x6b),
                1 => (0xc9, 0x7b, 0x12),
                2 => (0x5b, 0x3f, 0x8c),
                3 => (0x7d, 0xa4, 0x3a),
                4 => (0xb2, 0x4a, 0x6b),
                5 => (0x4a, 0x8f, 0xc7),
                6 => (0x8a, 0x6a, 0x45),
                _ => (0x6c, 0x75, 0x7f),
            },
        }
    }
}
