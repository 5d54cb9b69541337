//! SVG to PNG, by resvg, with a font of its own: no font of the machine is asked for, so the same picture comes out on
//! every machine.

use std::collections::BTreeSet;
use std::io;

use resvg::tiny_skia::Pixmap;
use resvg::tiny_skia::Transform;
use resvg::usvg::Options;
use resvg::usvg::Tree;
use skrifa::FontRef;
use skrifa::MetadataProvider;

/// Pixels of the picture for one of the SVG: sharp on a dense display and in print (chosen).
const SCALE: u16 = 2;

/// Turns pictures into PNG.
pub(super) struct Raster {
    options: Options<'static>,
    /// Letters that the font has.
    letters: BTreeSet<u32>,
}

impl Raster {
    pub(super) fn new() -> Self {
        let mut options = Options { font_family: "DejaVu Sans".to_owned(), ..Options::default() };
        let fonts = options.fontdb_mut();
        fonts.load_font_data(dejavu::sans::regular().to_vec());
        fonts.set_sans_serif_family("DejaVu Sans");
        Self { options, letters: letters(dejavu::sans::regular()) }
    }

    /// Whether the font has a letter.
    pub(super) fn has(&self, letter: char) -> bool {
        self.letters.contains(&u32::from(letter))
    }

    /// The PNG of an SVG; letters that the font lacks are empty boxes.
    pub(super) fn png(&self, svg: &str) -> io::Result<Vec<u8>> {
        let tree = Tree::from_str(svg, &self.options).map_err(io::Error::other)?;
        let size = tree.size().to_int_size();
        let larger = |pixels: u32| pixels.saturating_mul(u32::from(SCALE));
        let mut pixels = Pixmap::new(larger(size.width()), larger(size.height()))
            .ok_or_else(|| io::Error::other("a picture without a size"))?;
        let scale = f32::from(SCALE);
        resvg::render(&tree, Transform::from_scale(scale, scale), &mut pixels.as_mut());
        pixels.encode_png().map_err(io::Error::other)
    }
}

/// The letters of a font, as Unicode has them; none of what is no font.
fn letters(font: &[u8]) -> BTreeSet<u32> {
    let font = FontRef::new(font).ok();
    font.map(|font| font.charmap().mappings().map(|(letter, _)| letter).collect()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_font_has_european_letters_and_signs_and_lacks_east_asian_ones() {
        let raster = Raster::new();
        for letter in "Az09 äéøßŁЖΩ±µ°τ−…’".chars() {
            assert!(raster.has(letter), "{letter}");
        }
        for letter in "舞台カ한🎥".chars() {
            assert!(!raster.has(letter), "{letter}");
        }
    }
}
