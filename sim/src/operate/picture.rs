//! What a display of 128 by 64 dots shows of a screen, and that as a PNG.

use std::convert::Infallible;

use dosewright_core::panel::{COLUMNS, ROWS};
use embedded_graphics::Drawable;
use embedded_graphics::Pixel;
use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::geometry::{OriginDimensions, Point, Size};
use embedded_graphics::mono_font::{MonoFont, MonoTextStyle, iso_8859_1, iso_8859_2, iso_8859_15};
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::text::{Baseline, Text};

/// Dots of the display.
const WIDTH: usize = 128;
/// Lines of dots.
const HEIGHT: usize = 64;
/// Columns of dots of a character.
const ADVANCE: usize = 6;
/// Lines of dots from one line of text to the next.
const PITCH: usize = HEIGHT / ROWS;
/// What is left beside twenty characters, on either side.
const MARGIN: usize = (WIDTH - COLUMNS * ADVANCE) / 2;
/// The least and the most pixels that a dot can be wide in a picture.
const SCALES: std::ops::RangeInclusive<u8> = 1..=16;
/// Dark and light dots, as red, green, blue.
const PALETTE: [u8; 6] = [0x10, 0x18, 0x20, 0xd8, 0xf0, 0xff];
/// Dots of dark glass around the display.
const EDGE: usize = 4;

/// Fonts of 6 by 13 dots by what letters they have, each tried in turn: those of the
/// west of Europe, those of Polish, and what French has beside.
const FONTS: [&MonoFont<'_>; 3] =
    [&iso_8859_1::FONT_6X13, &iso_8859_2::FONT_6X13, &iso_8859_15::FONT_6X13];

/// The dots of a display, line by line from the top.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Dots([bool; WIDTH * HEIGHT]);

impl Dots {
    /// The lines of a screen.
    pub fn of(rows: &[[char; COLUMNS]; ROWS]) -> Self {
        let mut dots = Self([false; WIDTH * HEIGHT]);
        for (row, line) in rows.iter().enumerate() {
            for (column, &c) in line.iter().enumerate() {
                let (x, y) = (MARGIN + column * ADVANCE, row * PITCH + 1);
                let style = MonoTextStyle::new(font_of(c), BinaryColor::On);
                let mut bytes = [0; 4];
                let text: &str = c.encode_utf8(&mut bytes);
                let at = Point::new(x as i32, y as i32);
                let Ok(_) = Text::with_baseline(text, at, style, Baseline::Top).draw(&mut dots);
            }
        }
        dots
    }

    /// Whether a dot is lit; none is beside the display.
    pub fn is_lit(&self, x: usize, y: usize) -> bool {
        x < WIDTH && self.0.get(y * WIDTH + x).copied().unwrap_or(false)
    }

    /// As a PNG of two colours, each dot so many pixels wide and high.
    pub fn png(&self, scale: u8) -> Vec<u8> {
        let scale = usize::from(scale.clamp(*SCALES.start(), *SCALES.end()));
        let (width, height) = ((WIDTH + 2 * EDGE) * scale, (HEIGHT + 2 * EDGE) * scale);
        let mut lines = vec![0_u8; width.div_ceil(8) * height];
        for (y, line) in lines.chunks_exact_mut(width.div_ceil(8)).enumerate() {
            for x in 0..width {
                let dot = |at: usize| (at / scale).checked_sub(EDGE).unwrap_or(usize::MAX);
                if dot(y) < HEIGHT && self.is_lit(dot(x), dot(y)) {
                    line[x / 8] |= 0x80 >> (x % 8);
                }
            }
        }
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, width as u32, height as u32);
        encoder.set_color(png::ColorType::Indexed);
        encoder.set_depth(png::BitDepth::One);
        encoder.set_palette(&PALETTE[..]);
        let written = encoder.write_header().and_then(|mut out| {
            out.write_image_data(&lines)?;
            out.finish()
        });
        // a vector takes whatever is written, and the lines are as long as was said
        debug_assert!(written.is_ok(), "{written:?}");
        bytes
    }
}

impl OriginDimensions for Dots {
    fn size(&self) -> Size {
        Size::new(WIDTH as u32, HEIGHT as u32)
    }
}

impl DrawTarget for Dots {
    type Color = BinaryColor;
    type Error = Infallible;

    fn draw_iter<I: IntoIterator<Item = Pixel<BinaryColor>>>(
        &mut self,
        pixels: I,
    ) -> Result<(), Infallible> {
        for Pixel(at, color) in pixels {
            let (Ok(x), Ok(y)) = (usize::try_from(at.x), usize::try_from(at.y)) else { continue };
            if x < WIDTH && y < HEIGHT {
                self.0[y * WIDTH + x] = color.is_on();
            }
        }
        Ok(())
    }
}

/// The first of the fonts that has a character.
fn font_of(c: char) -> &'static MonoFont<'static> {
    let has = |font: &&&MonoFont<'_>| {
        let mapping = font.glyph_mapping;
        c == '?' || mapping.index(c) != mapping.index('?')
    };
    FONTS.iter().find(has).unwrap_or(&FONTS[0])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(lines: [&str; ROWS]) -> [[char; COLUMNS]; ROWS] {
        lines.map(|line| {
            let mut row = [' '; COLUMNS];
            row.iter_mut().zip(line.chars()).for_each(|(place, c)| *place = c);
            row
        })
    }

    /// The dots of a character, a line of text a line of dots.
    fn art(dots: &Dots, row: usize, column: usize) -> Vec<String> {
        let line = |y: usize| {
            let dot = |x| if dots.is_lit(MARGIN + column * ADVANCE + x, y) { '#' } else { '.' };
            (0..ADVANCE).map(dot).collect()
        };
        (row * PITCH..(row + 1) * PITCH).map(line).collect()
    }

    #[test]
    fn letters_beyond_ascii_are_drawn_as_they_are() {
        let dots = Dots::of(&rows(["äßñé±", "łąśżć", "œ?☃", ""]));
        // a letter with its mark is neither the bare letter nor the mark of an unknown
        let plain = Dots::of(&rows(["asne+", "lasc", "o??", ""]));
        for (row, columns) in [(0, 5), (1, 5)] {
            for column in 0..columns {
                assert_ne!(art(&dots, row, column), art(&plain, row, column), "{row} {column}");
                assert_ne!(art(&dots, row, column), art(&dots, 2, 1), "{row} {column}");
            }
        }
        assert_ne!(art(&dots, 2, 0), art(&dots, 2, 1));
        assert_eq!(art(&dots, 2, 2), art(&dots, 2, 1), "what no font has");
    }

    #[test]
    fn a_picture_read_back_is_the_display_dot_for_dot() {
        let screen = rows(["Zeitplan", "00:45 MoDiMi", "± ä ł", "> übernehmen"]);
        let dots = Dots::of(&screen);
        assert!(dots.0.iter().filter(|&&dot| dot).count() > 200);
        for scale in [1_u8, 3] {
            let bytes = dots.png(scale);
            let mut decoder = png::Decoder::new(std::io::Cursor::new(&bytes));
            decoder.set_transformations(png::Transformations::EXPAND);
            let mut reader = decoder.read_info().unwrap();
            let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
            let info = reader.next_frame(&mut pixels).unwrap();
            let times = usize::from(scale);
            let (width, height) = (info.width as usize, info.height as usize);
            assert_eq!((width, height), ((WIDTH + 8) * times, (HEIGHT + 8) * times));
            for y in 0..height {
                for x in 0..width {
                    let at = (y * width + x) * 3;
                    let inside = |at: usize| (at / times).wrapping_sub(EDGE);
                    let lit = inside(y) < HEIGHT && dots.is_lit(inside(x), inside(y));
                    let expected = if lit { &PALETTE[3..] } else { &PALETTE[..3] };
                    assert_eq!(&pixels[at..at + 3], expected, "{x} {y}");
                }
            }
        }
    }

    #[test]
    fn every_corner_of_the_text_is_on_the_display() {
        let full = rows(["MMMMMMMMMMMMMMMMMMMM"; ROWS]);
        let dots = Dots::of(&full);
        for row in 0..ROWS {
            let first = art(&dots, row, 0);
            assert!(first.iter().any(|line| line.contains('#')));
            for column in 1..COLUMNS {
                assert_eq!(art(&dots, row, column), first, "{row} {column}");
            }
        }
    }
}
