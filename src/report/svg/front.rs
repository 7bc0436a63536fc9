//! The front of a search: assured speed over cost.

use super::sheet::{Anchor, Frame, at, drawn, px, range};
use super::{Picture, Trouble};
use crate::report::design::{cost_title, speed_title};
use crate::report::display::{chosen_percent, fixed, trimmed};
use crate::results::answers::Limited;
use crate::results::design::{Counted, Design, DesignMachine};
use plotters::prelude::*;

const WIDTH_PX: f64 = 560.0;
const HEIGHT_PX: f64 = 360.0;
const FRAME: Frame = Frame {
    left: 64.0,
    right: WIDTH_PX - 30.0,
    top: 44.0,
    bottom: 305.0,
};

/// Speeds over costs, in the units that are shown.
#[derive(Clone, Debug)]
pub struct Front {
    title: String,
    subtitle: String,
    across_title: String,
    up_title: String,
    reading: String,
    whole_costs: bool,
    /// Cost and speed on fresh passes.
    own: (f64, Limited),
    /// Cost, speed on fresh passes, speed where it was chosen.
    machines: Vec<(f64, Limited, f64)>,
    /// What the field allows, if that is in sight.
    limit: Option<f64>,
}

impl Front {
    /// Of a search.
    pub fn of(design: &Design) -> Self {
        let units = design.scenario.units;
        let shown = |of: Limited| Limited {
            value: units.speed(of.value),
            lower: units.speed(of.lower),
            upper: units.speed(of.upper),
        };
        let speed = |machine: &DesignMachine| shown(machine.fresh.speed_m_s);
        let front = design.front.iter();
        Self {
            title: "Machines that no other beats on both".into(),
            subtitle: format!(
                "{} against {}, tools {} from the row",
                speed_title(design),
                cost_title(design),
                units.clearance(design.clearance_m)
            ),
            across_title: cost_title(design),
            up_title: format!("speed, {}", units.speed_unit()),
            reading: format!(
                "Dots with {} limits: fresh passes, numbered as in the table. Rings: where they were chosen. Grey: the machine as it stands. \
                 A finely dashed line: what the field allows whatever the machine.",
                chosen_percent(design.level)
            ),
            whole_costs: design.counted == Counted::Parts,
            own: (design.own.cost, speed(&design.own)),
            machines: front
                .map(|one| {
                    let chosen = units.speed(one.chosen.speed_m_s.value);
                    (one.cost, speed(one), chosen)
                })
                .collect(),
            limit: design.field_limit.map(|limit| units.speed(limit.speed_m_s)),
        }
    }

    /// The picture.
    pub fn picture(&self) -> Picture {
        let own = std::iter::once((self.own.0, self.own.1));
        let all = own.chain(self.machines.iter().map(|one| (one.0, one.1)));
        let all: Vec<(f64, Limited)> = all.collect();
        let dearest = all.iter().map(|one| one.0).fold(0.0, f64::max);
        let room = if dearest > 0.0 { 0.06 * dearest } else { 1.0 };
        let chosen = self.machines.iter().map(|one| one.2);
        let low = all.iter().map(|one| one.1.lower);
        let low = low.chain(chosen.clone()).fold(f64::INFINITY, f64::min);
        let high = all.iter().map(|one| one.1.upper);
        let high = high.chain(chosen).fold(0.0, f64::max);
        let across = -room..dearest + room;
        let up = range((low - 0.5).floor().max(0.0), (high + 0.5).ceil());
        let body = drawn(WIDTH_PX, HEIGHT_PX, |sheet| {
            let mut chart = sheet.chart(FRAME, across.clone(), up.clone())?;
            let cost = |x: &f64| {
                let between = self.whole_costs && (x - x.round()).abs() > 1e-6;
                if *x < 0.0 || between {
                    String::new()
                } else {
                    trimmed(*x, 2)
                }
            };
            sheet
                .axes(&mut chart)
                .x_labels(6)
                .y_labels(8)
                .x_label_formatter(&cost)
                .y_label_formatter(&|speed| fixed(*speed, 1))
                .x_desc(self.across_title.clone())
                .y_desc(self.up_title.clone())
                .draw()?;
            sheet.text("head", Anchor::Start, (FRAME.left, 13.0), &self.title)?;
            sheet.text("small", Anchor::Start, (FRAME.left, 28.0), &self.subtitle)?;
            if let Some(limit) = self.limit.filter(|limit| up.contains(limit)) {
                let rule = [(across.start, limit), (across.end, limit)];
                chart.draw_series(LineSeries::new(rule, sheet.stroke("thin")))?;
            }
            // What one gets for the money: the speed of the last machine that it buys.
            let mut steps: Vec<(f64, f64)> = Vec::new();
            for (cost, speed, _) in &self.machines {
                steps.extend(steps.last().map(|last| (*cost, last.1)));
                steps.push((*cost, speed.value));
            }
            steps.extend(steps.last().map(|last| (across.end, last.1)));
            chart.draw_series(LineSeries::new(steps, sheet.stroke("line k3")))?;
            let own = std::iter::once(("k0", self.own.0, self.own.1));
            let front = self.machines.iter().map(|one| ("k3", one.0, one.1));
            for (class, cost, speed) in own.chain(front) {
                let whisker = [(cost, speed.lower), (cost, speed.upper)];
                let stroke = sheet.stroke(&format!("line {class}"));
                chart.draw_series(LineSeries::new(whisker, stroke))?;
                let fill = sheet.fill(&format!("dot {class}"));
                chart.draw_series([Circle::new((cost, speed.value), at((4.0, 0.0)).0, fill)])?;
            }
            for (number, (cost, speed, chosen)) in self.machines.iter().enumerate() {
                let ring = sheet.fill("dot k3 open");
                chart.draw_series([Circle::new((*cost, *chosen), at((4.0, 0.0)).0, ring)])?;
                let (x, y) = px(chart.backend_coord(&(*cost, speed.value)));
                let name = (number + 1).to_string();
                sheet.text("small", Anchor::Start, (x + 8.0, y - 9.0), &name)?;
            }
            Ok::<(), Trouble>(())
        });
        Picture {
            name: "design".into(),
            title: self.title.clone(),
            note: String::new(),
            reading: self.reading.clone(),
            width: WIDTH_PX,
            height: HEIGHT_PX,
            body,
        }
    }
}
