//! SVG to PNG, by resvg, with a font of its own: no font of the machine is asked for, so the same picture comes out on
//! every machine.

use std::io;

use resvg::tiny_skia::Pixmap;
use resvg::tiny_skia::Transform;
use resvg::usvg::Options;
use resvg::usvg::Tree;

/// Pixels of the picture for one of the SVG: sharp on a dense display and in print (chosen).
const SCALE: u16 = 2;

/// Turns pictures into PNG.
pub(super) struct Raster {
    options: Options<'static>,
}

impl Raster {
    pub(super) fn new() -> Self {
        let mut options = Options { font_family: "DejaVu Sans".to_owned(), ..Options::default() };
        let fonts = options.fontdb_mut();
        fonts.load_font_data(dejavu::sans::regular().to_vec());
        fonts.set_sans_serif_family("DejaVu Sans");
        Self { options }
    }

    /// The PNG of an SVG.
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
