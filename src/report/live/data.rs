//! What the script of a page works with, as JSON. SI units except where a name says otherwise.

use super::Film;
use crate::model::controller::Kind;
use crate::report::display::{Units, plain_title};
use crate::report::svg::map::FRAME;
use crate::report::three_answers::guided;
use crate::results::answers::SpacingCell;
use crate::results::{Rate, Results, Share, Stretch};
use serde::Serialize;

/// Everything.
#[derive(Debug, Serialize)]
pub struct Data<'a> {
    /// Units that the page opens with: "metric" or "us".
    units: &'static str,
    studies: Vec<Study>,
    frame: Plot,
    film: Option<&'a Film>,
}

/// One number for each speed and clearance: `[speed][clearance]`; null where nothing was simulated.
type Grid<T> = Vec<Vec<Option<T>>>;

#[derive(Debug, Serialize)]
struct Study {
    name: String,
    speeds_m_s: Vec<f64>,
    clearances_m: Vec<f64>,
    working_speed_m_s: f64,
    working_clearance_m: f64,
    allowed_cut_rate: f64,
    level: f64,
    controller: Option<Kind>,
    controllers: Vec<Controller>,
    farm: Option<Farm>,
}

#[derive(Debug, Serialize)]
struct Controller {
    name: Kind,
    title: String,
    cut: Shares,
    touched: Shares,
    resolved: Grid<bool>,
}

#[derive(Debug, Serialize)]
struct Shares {
    rate: Grid<f64>,
    lower: Grid<f64>,
    upper: Grid<f64>,
}

#[derive(Debug, Serialize)]
struct Farm {
    currency: String,
    plant_value_per_ha: f64,
    touched_lost_share: f64,
    machine_per_ha: Grid<f64>,
    weeding_per_ha: Grid<f64>,
    weeds_left_share: Grid<f64>,
    hectares_per_hour: Grid<f64>,
    days: Grid<f64>,
}

/// Where the maps have their axes, px.
#[derive(Debug, Serialize)]
struct Plot {
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

impl<'a> Data<'a> {
    /// Of one study or of two beside one another.
    pub fn new(units: Units, studies: &[&Results], film: Option<&'a Film>) -> Data<'a> {
        Data {
            units: units.name(),
            studies: studies.iter().map(|results| Study::new(results)).collect(),
            frame: Plot {
                left: FRAME.left,
                right: FRAME.right,
                top: FRAME.top,
                bottom: FRAME.bottom,
            },
            film,
        }
    }

    /// As JSON that cannot end the element it stands in.
    pub fn json(&self) -> String {
        // Numbers, texts and lists always serialise.
        let text = serde_json::to_string(self).unwrap_or_default();
        text.replace('<', "\\u003c")
    }
}

impl Study {
    fn new(results: &Results) -> Study {
        Study {
            name: results.scenario.name.clone(),
            speeds_m_s: results.speeds_m_s.clone(),
            clearances_m: results.clearances_m.clone(),
            working_speed_m_s: results.working_speed_m_s,
            working_clearance_m: results.working_clearance_m,
            allowed_cut_rate: results.allowed_cut_rate,
            level: results.level,
            controller: guided(results),
            controllers: results
                .ran()
                .map(|name| controller(results, name))
                .collect(),
            farm: farm(results),
        }
    }
}

fn controller(results: &Results, name: Kind) -> Controller {
    let find = |v: f64, c: f64| results.rate(Stretch::Whole, name, v, c);
    let shares = |of: fn(&Rate) -> &Share| {
        let number = |value: fn(&Share) -> f64| {
            grid(results, &|v, c| find(v, c).map(|cell| value(of(cell))))
        };
        Shares {
            rate: number(|share| share.rate),
            lower: number(|share| share.lower),
            upper: number(|share| share.upper),
        }
    };
    Controller {
        name,
        title: plain_title(name).to_owned(),
        cut: shares(|cell| &cell.cut),
        touched: shares(|cell| &cell.touched),
        resolved: grid(results, &|v, c| find(v, c).map(|cell| cell.resolved)),
    }
}

fn farm(results: &Results) -> Option<Farm> {
    let answer = &results.answers.spacing;
    let plants = answer.plants.as_ref()?;
    let find = |v: f64, c: f64| {
        let mut cells = answer.cells.iter();
        // Equal to the last bit: the cells carry the study's own numbers on.
        cells.find(|cell| cell.speed_m_s == v && cell.clearance_m == c)
    };
    let number = |value: fn(&SpacingCell) -> f64| grid(results, &|v, c| find(v, c).map(value));
    Some(Farm {
        currency: answer.currency.clone().unwrap_or_default(),
        plant_value_per_ha: plants.value_per_ha,
        touched_lost_share: plants.touched_lost_share,
        machine_per_ha: number(|cell| cell.machine_per_ha),
        weeding_per_ha: number(|cell| cell.weeding_per_ha),
        weeds_left_share: number(|cell| cell.weeds_left_share),
        hectares_per_hour: number(|cell| cell.hectares_per_hour),
        days: number(|cell| cell.days),
    })
}

fn grid<T>(results: &Results, value: &dyn Fn(f64, f64) -> Option<T>) -> Grid<T> {
    let at = |v: f64| results.clearances_m.iter().map(move |c| value(v, *c));
    results
        .speeds_m_s
        .iter()
        .map(|v| at(*v).collect())
        .collect()
}
