//! The sheet that pictures are drawn on: the plotting library `plotters` with its SVG backend, and the small pass over what it
//! writes that makes it fit for the page.
//!
//! A mark's look is a class of `chart.css`, so that dark mode and the page can change it; the library carries it as a
//! colour number. It counts whole pixels, so it draws at ten times the size and `fitted` moves the decimal point.

use super::{Trouble, printable};
use crate::report::display::trimmed;
use maud::{Markup, PreEscaped, html};
use plotters::chart::MeshStyle;
use plotters::coord::Shift;
use plotters::coord::ranged1d::{AsRangedCoord, Ranged, ValueFormatter};
use plotters::element::{Drawable, PointCollection};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::cell::RefCell;

/// Steps of the library per px of the picture.
const FINE: f64 = 10.0;

/// Room below a plot for tick texts and the title of the axis, px, where the sheet has so much.
const BOTTOM_AXIS_PX: f64 = 40.0;

/// Distance of the left axis' title from the border of the picture, px.
const LEFT_MARGIN_PX: f64 = 4.0;

/// A chart on a sheet.
pub type Chart<'a, X, Y> = ChartContext<'a, SVGBackend<'a>, Cartesian2d<X, Y>>;

/// Where a plot stands on the sheet, px; its axes are outside.
#[derive(Clone, Copy, Debug)]
pub struct Frame {
    /// Left border.
    pub left: f64,
    /// Right border.
    pub right: f64,
    /// Upper border.
    pub top: f64,
    /// Lower border.
    pub bottom: f64,
}

/// Which end of a text stands at its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// Its start.
    Start,
    /// Its middle.
    Middle,
    /// Its end.
    End,
}

/// A sheet under the pen.
pub struct Sheet<'a> {
    area: DrawingArea<SVGBackend<'a>, Shift>,
    size_px: (f64, f64),
    looks: RefCell<Vec<String>>,
}

/// Draws on a sheet of that size, px, and returns what goes into the `svg` element. Trouble of the library becomes a text
/// in the picture's place.
pub fn drawn(
    width_px: f64,
    height_px: f64,
    paint: impl FnOnce(&Sheet) -> Result<(), Trouble>,
) -> Markup {
    let mut raw = String::new();
    let size = (fine(width_px) as u32, fine(height_px) as u32);
    let sheet = Sheet {
        area: SVGBackend::with_string(&mut raw, size).into_drawing_area(),
        size_px: (width_px, height_px),
        looks: RefCell::default(),
    };
    let done = paint(&sheet).and_then(|()| sheet.area.present());
    let looks = sheet.looks.take();
    // The backend still holds the text that it writes to.
    drop(sheet);
    match done {
        Ok(()) => PreEscaped(fitted(&raw, &looks)),
        Err(trouble) => {
            html! { text x="8" y="18" { "This picture could not be drawn: " (trouble) } }
        }
    }
}

fn fine(px: f64) -> i32 {
    (FINE * px).round() as i32
}

/// The library's coordinates of a place in px.
pub fn at((x, y): (f64, f64)) -> (i32, i32) {
    (fine(x), fine(y))
}

/// A place in px from the library's coordinates.
pub fn px((x, y): (i32, i32)) -> (f64, f64) {
    (f64::from(x) / FINE, f64::from(y) / FINE)
}

impl<'a> Sheet<'a> {
    /// The colour under which the library carries a class of `chart.css`.
    pub fn ink(&self, class: &str) -> RGBColor {
        let mut looks = self.looks.borrow_mut();
        let known = looks.iter().position(|look| look == class);
        let index = known.unwrap_or(looks.len());
        if known.is_none() {
            looks.push(class.to_owned());
        }
        // Number 0 is black: the reader's ink, without a class.
        let number = index + 1;
        RGBColor((number >> 16) as u8, (number >> 8) as u8, number as u8)
    }

    /// A line of a class.
    pub fn stroke(&self, class: &str) -> ShapeStyle {
        self.ink(class).stroke_width(1)
    }

    /// An area of a class.
    pub fn fill(&self, class: &str) -> ShapeStyle {
        self.ink(class).filled()
    }

    fn font(&self, class: &str) -> TextStyle<'static> {
        let colour = if class.is_empty() {
            BLACK
        } else {
            self.ink(class)
        };
        TextStyle {
            color: colour.to_backend_color(),
            ..("sans-serif", 13.0 * FINE).into_font().into()
        }
    }

    /// A text with its middle line at a place, px.
    pub fn text(
        &self,
        class: &str,
        anchor: Anchor,
        place: (f64, f64),
        text: &str,
    ) -> Result<(), Trouble> {
        let across = match anchor {
            Anchor::Start => HPos::Left,
            Anchor::Middle => HPos::Center,
            Anchor::End => HPos::Right,
        };
        let font = self.font(class).pos(Pos::new(across, VPos::Center));
        self.area.draw_text(text, &font, at(place))
    }

    /// A text that runs upwards, its start or end at a place, px.
    pub fn upward(
        &self,
        class: &str,
        anchor: Anchor,
        place: (f64, f64),
        text: &str,
    ) -> Result<(), Trouble> {
        let across = match anchor {
            Anchor::Start => HPos::Left,
            Anchor::Middle => HPos::Center,
            Anchor::End => HPos::Right,
        };
        let font = self.font(class).pos(Pos::new(across, VPos::Center));
        let font = font.transform(FontTransform::Rotate270);
        self.area.draw_text(text, &font, at(place))
    }

    /// An element in the library's coordinates; see [`at`].
    pub fn draw<E>(&self, element: E) -> Result<(), Trouble>
    where
        E: Drawable<SVGBackend<'a>>,
        for<'e> &'e E: PointCollection<'e, (i32, i32)>,
    {
        self.area.draw(&element)
    }

    /// A line through places in px.
    pub fn line(
        &self,
        class: &str,
        places: impl IntoIterator<Item = (f64, f64)>,
    ) -> Result<(), Trouble> {
        let points: Vec<(i32, i32)> = places.into_iter().map(at).collect();
        self.draw(PathElement::new(points, self.stroke(class)))
    }

    /// A dot at a place, px.
    pub fn dot(&self, class: &str, place: (f64, f64), radius_px: f64) -> Result<(), Trouble> {
        self.draw(Circle::new(at(place), fine(radius_px), self.fill(class)))
    }

    /// A filled rectangle between two corners, px.
    pub fn rect(&self, class: &str, corners: [(f64, f64); 2]) -> Result<(), Trouble> {
        self.draw(Rectangle::new(corners.map(at), self.fill(class)))
    }

    /// A chart with room for axes at its left and below.
    pub fn chart<X: AsRangedCoord, Y: AsRangedCoord>(
        &self,
        frame: Frame,
        x: X,
        y: Y,
    ) -> Result<Chart<'a, X::CoordDescType, Y::CoordDescType>, Trouble> {
        // The library keeps its last pixel off both scales; one more makes them end on the frame.
        let below = BOTTOM_AXIS_PX.min(self.size_px.1 - frame.bottom);
        ChartBuilder::on(&self.area)
            .margin_left(fine(LEFT_MARGIN_PX))
            .margin_top(fine(frame.top))
            .margin_right(fine(self.size_px.0 - frame.right) - 1)
            .margin_bottom(fine(self.size_px.1 - frame.bottom - below) - 1)
            .y_label_area_size(fine(frame.left - LEFT_MARGIN_PX))
            .x_label_area_size(fine(below))
            .build_cartesian_2d(x, y)
    }

    /// The axes of a chart: ticks, tick texts, titles, and a line across it at every tick on the left.
    pub fn axes<'m, X, Y>(
        &self,
        chart: &'m mut Chart<'a, X, Y>,
    ) -> MeshStyle<'a, 'm, X, Y, SVGBackend<'a>>
    where
        X: Ranged<ValueType = f64> + ValueFormatter<f64>,
        Y: Ranged<ValueType = f64> + ValueFormatter<f64>,
    {
        let mut axes = chart.configure_mesh();
        axes.disable_x_mesh()
            .bold_line_style(self.stroke("grid"))
            .light_line_style(TRANSPARENT)
            .max_light_lines(0)
            .axis_style(self.stroke("axis"))
            .label_style(self.font(""))
            .set_tick_mark_size(LabelAreaPosition::Bottom, fine(4.0))
            .set_tick_mark_size(LabelAreaPosition::Left, fine(3.0));
        axes
    }
}

/// Size of a picture of which two stand beside one another, px.
pub const HALF_PX: (f64, f64) = (448.0, 300.0);

/// Its frame, with room for numbers on the left.
pub const HALF: Frame = Frame {
    left: 64.0,
    right: HALF_PX.0 - 16.0,
    top: 34.0,
    bottom: 250.0,
};

/// The range of an axis, made from what may be no range at all.
pub fn range(low: f64, high: f64) -> std::ops::Range<f64> {
    match (low.is_finite(), high.is_finite() && high > low) {
        (true, true) => low..high,
        (true, false) => low..low + 1.0,
        (false, _) => 0.0..1.0,
    }
}

/// What the library wrote, for the page: no element around it, px with one decimal, classes in place of colours, sizes and
/// fonts, and neighbouring lines or areas of one class in one path.
fn fitted(raw: &str, looks: &[String]) -> String {
    let mut out = String::new();
    let mut path = (String::new(), String::new());
    for piece in raw.split('<').skip(1) {
        let (head, text) = piece.split_once('>').unwrap_or((piece, ""));
        let element = Element::read(head);
        let class = element.class(looks);
        if let Some(d) = element.path() {
            if class != path.0 {
                flush(&mut out, &mut path);
                path.0 = class;
            }
            path.1.push_str(&d);
            continue;
        }
        let shape = match element.name {
            "rect" => format!(
                "<rect{class}{}/>",
                element.px(&["x", "y", "width", "height"])
            ),
            "circle" => format!("<circle{class}{}/>", element.px(&["cx", "cy", "r"])),
            "text" => format!(
                "<text{class}{}{}>{}</text>",
                element.px(&["x", "y"]),
                element.placed(),
                printable(text.trim())
            ),
            _ => continue,
        };
        flush(&mut out, &mut path);
        out.push_str(&shape);
    }
    flush(&mut out, &mut path);
    out
}

/// Writes the path that was gathered.
fn flush(out: &mut String, (class, d): &mut (String, String)) {
    if !d.is_empty() {
        out.push_str(&format!("<path{class} d=\"{d}\"/>"));
        d.clear();
    }
}

/// A number in px.
fn decimal(fine: &str) -> String {
    fine.parse()
        .map_or_else(|_| fine.to_owned(), |value: f64| trimmed(value / FINE, 1))
}

/// An element as the library writes it; `"`, `<` and `>` stand escaped in its values.
struct Element<'r> {
    name: &'r str,
    attributes: Vec<(&'r str, &'r str)>,
}

impl<'r> Element<'r> {
    fn read(head: &'r str) -> Element<'r> {
        let (name, rest) = head.split_once(' ').unwrap_or((head, ""));
        let mut parts = rest.split('"');
        let mut attributes = Vec::new();
        while let (Some(key), Some(value)) = (parts.next(), parts.next()) {
            attributes.push((key.trim().trim_end_matches('='), value));
        }
        Element { name, attributes }
    }

    fn get(&self, key: &str) -> &'r str {
        let found = self.attributes.iter().find(|(name, _)| *name == key);
        found.map_or("", |(_, value)| value)
    }

    fn class(&self, looks: &[String]) -> String {
        [self.get("fill"), self.get("stroke")]
            .into_iter()
            .filter_map(|colour| usize::from_str_radix(colour.strip_prefix('#')?, 16).ok())
            .find_map(|number| looks.get(number.checked_sub(1)?))
            .map_or(String::new(), |look| format!(" class=\"{look}\""))
    }

    fn px(&self, keys: &[&str]) -> String {
        keys.iter()
            .map(|key| format!(" {key}=\"{}\"", decimal(self.get(key))))
            .collect()
    }

    /// Path data of a line or an area; points that fall together are left out.
    fn path(&self) -> Option<String> {
        let (points, end): (Vec<(&str, &str)>, &str) = match self.name {
            "line" => {
                let ends = [("x1", "y1"), ("x2", "y2")];
                (ends.map(|(x, y)| (self.get(x), self.get(y))).into(), "")
            }
            "polyline" | "polygon" => {
                let points = self.get("points").split_whitespace();
                let end = if self.name == "polygon" { "Z" } else { "" };
                (
                    points.filter_map(|point| point.split_once(',')).collect(),
                    end,
                )
            }
            _ => return None,
        };
        let mut points = points;
        points.dedup();
        let steps = points.iter().enumerate().map(|(i, (x, y))| {
            let step = if i == 0 { 'M' } else { 'L' };
            format!("{step}{} {}", decimal(x), decimal(y))
        });
        Some(steps.collect::<String>() + end)
    }

    /// How a text stands at its place. Its size is left to its class, so shifts are in its em.
    fn placed(&self) -> String {
        let mut out = match self.get("dy") {
            "0.5ex" => " dy=\".35em\"".to_owned(),
            "-0.5ex" => " dy=\"-.25em\"".to_owned(),
            dy => format!(" dy=\"{dy}\""),
        };
        match self.get("text-anchor") {
            "start" => {}
            anchor => out.push_str(&format!(" text-anchor=\"{anchor}\"")),
        }
        let turn = self.get("transform").strip_prefix("rotate(");
        if let Some((degrees, _)) = turn.and_then(|turn| turn.split_once(',')) {
            let (x, y) = (decimal(self.get("x")), decimal(self.get("y")));
            out.push_str(&format!(" transform=\"rotate({degrees} {x} {y})\""));
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(text: &str) -> String {
        drawn(100.0, 50.0, |sheet| {
            sheet.line("grid", [(1.0, 2.0), (1.0, 2.0), (30.4, 40.0)])?;
            sheet.line("grid", [(0.0, 0.0), (5.0, 0.0)])?;
            sheet.line("axis", [(0.0, 0.0), (5.0, 0.0)])?;
            sheet.dot("dot k2", (10.0, 20.0), 2.6)?;
            sheet.rect("bar k0", [(1.0, 1.0), (3.5, 9.0)])?;
            sheet.text("", Anchor::End, (50.0, 25.0), text)
        })
        .into_string()
    }

    #[test]
    fn regress_marks_come_out_by_class_in_px() {
        assert_eq!(
            sample("a<b & \"c\""),
            "<path class=\"grid\" d=\"M1 2L30.4 40M0 0L5 0\"/><path class=\"axis\" d=\"M0 0L5 0\"/><circle class=\"dot k2\" \
             cx=\"10\" cy=\"20\" r=\"2.6\"/><rect class=\"bar k0\" x=\"1\" y=\"1\" width=\"2.5\" height=\"8\"/><text x=\"50\" \
             y=\"25\" dy=\".35em\" text-anchor=\"end\">a&lt;b &amp; &quot;c&quot;</text>"
        );
    }

    #[test]
    fn prop_what_xml_forbids_in_a_text_is_gone() {
        assert!(sample("a\u{8}b").contains(">a b</text>"));
    }

    #[test]
    fn analytic_a_chart_maps_the_ends_of_its_axes_onto_its_frame() {
        let frame = Frame {
            left: 50.0,
            right: 350.0,
            top: 20.0,
            bottom: 220.0,
        };
        let svg = drawn(400.0, 300.0, |sheet| {
            let mut chart = sheet.chart(frame, 2.0..5.0, (1e-4..1.0).log_scale())?;
            sheet.axes(&mut chart).x_desc("x").y_desc("y").draw()?;
            for (point, place) in [
                ((2.0, 1e-4), (50.0, 220.0)),
                ((3.5, 1e-2), (200.0, 120.0)),
                ((5.0, 1.0), (350.0, 20.0)),
            ] {
                let (x, y) = px(chart.backend_coord(&point));
                // The library keeps places to a tenth of a px.
                assert!((x - place.0).abs() < 0.11 && (y - place.1).abs() < 0.11);
            }
            Ok(())
        })
        .into_string();
        assert!(svg.contains(" transform=\"rotate(270 4 120)\""));
    }

    #[test]
    fn prop_trouble_is_said_in_the_picture() {
        let svg = drawn(100.0, 50.0, |_| Err(Trouble::LayoutError)).into_string();
        assert!(svg.contains("could not be drawn"));
    }
}
