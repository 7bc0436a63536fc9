//! Points that fill a cube evenly: Sobol's sequence, scrambled after Owen from a seed.
//!
//! Direction numbers: the first 64 dimensions of `new-joe-kuo-6` (Joe & Kuo, SIAM J. Sci. Comput. 30:2635-2654, 2008). Scrambling: Owen,
//! in Monte Carlo and Quasi-Monte Carlo Methods in Scientific Computing, 1995, 299-317: each bit of a coordinate is turned or not by a
//! coin that hangs on all bits above it; here the coin is a hash of these bits, so that nothing is kept (after Burley, J. Comput. Graph.
//! Tech. 9(4):1-20, 2020, but with one hash a bit, whose independence does not rest on its multiplications). Hash: the mixer of SplitMix64
//! (Steele, Lea & Flood, OOPSLA 2014).

/// Dimensions of the sequence.
pub const DIMENSIONS: usize = 64;

/// A sequence of its own for each seed.
#[derive(Clone, Debug)]
pub struct Sobol {
    seed: u64,
    directions: Box<[[u32; 32]; DIMENSIONS]>,
}

impl Sobol {
    /// The sequence of a seed.
    pub fn new(seed: u64) -> Self {
        let mut all = Box::new([[0; 32]; DIMENSIONS]);
        for (dimension, numbers) in all.iter_mut().enumerate() {
            *numbers = directions(dimension);
        }
        Self {
            seed: mix(seed),
            directions: all,
        }
    }

    /// Coordinate `dimension` of point `index`, above 0 and below 1. Uniform over seeds; any 2^k points of which the first has an index
    /// that 2^k divides lie one in each of 2^k equal slices. Dimensions from [`DIMENSIONS`] on are plain random numbers: two scramblings
    /// of one dimension would go together.
    pub fn point(&self, index: u32, dimension: usize) -> f64 {
        let key = mix(self.seed ^ mix(dimension as u64 + 1));
        let bits = match self.directions.get(dimension) {
            Some(directions) => scramble(plain(directions, index), key),
            None => (mix(key ^ u64::from(index)) >> 32) as u32,
        };
        (f64::from(bits) + 0.5) / 4_294_967_296.0
    }
}

/// The coordinate without scrambling, times 2^32.
fn plain(directions: &[u32; 32], index: u32) -> u32 {
    let mut bits = 0;
    for (place, direction) in directions.iter().enumerate() {
        if index >> place & 1 == 1 {
            bits ^= direction;
        }
    }
    bits
}

/// Owen's nested scrambling: bit b, from the top, is turned by a coin of the bits above it.
fn scramble(bits: u32, key: u64) -> u32 {
    let mut turned = bits;
    for place in 0..32 {
        // A one before the bits above tells 0 from 00.
        let above = (1_u64 << place) | u64::from(bits) >> (32 - place);
        turned ^= ((mix(key ^ above) >> 63) as u32) << (31 - place);
    }
    turned
}

fn mix(value: u64) -> u64 {
    let z = value.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// Direction numbers by the recurrence of the dimension's primitive polynomial; the first dimension is van der Corput's sequence.
fn directions(dimension: usize) -> [u32; 32] {
    let mut numbers = [0_u32; 32];
    let Some((polynomial, first)) = dimension.checked_sub(1).map(|i| TABLE[i]) else {
        for (place, number) in numbers.iter_mut().enumerate() {
            *number = 1 << (31 - place);
        }
        return numbers;
    };
    let degree = first.len();
    for place in 0..32 {
        numbers[place] = if place < degree {
            first[place] << (31 - place)
        } else {
            let mut number = numbers[place - degree] ^ (numbers[place - degree] >> degree);
            for back in 1..degree {
                if polynomial >> (degree - back) & 1 == 1 {
                    number ^= numbers[place - back];
                }
            }
            number
        };
    }
    numbers
}

/// Dimensions 2 to 64: primitive polynomial with all its coefficients as bits, and the first direction numbers.
#[rustfmt::skip]
const TABLE: [(u32, &[u32]); DIMENSIONS - 1] = [
    (3, &[1]),
    (7, &[1, 3]),
    (11, &[1, 3, 1]),
    (13, &[1, 1, 1]),
    (19, &[1, 1, 3, 3]),
    (25, &[1, 3, 5, 13]),
    (37, &[1, 1, 5, 5, 17]),
    (41, &[1, 1, 5, 5, 5]),
    (47, &[1, 1, 7, 11, 19]),
    (55, &[1, 1, 5, 1, 1]),
    (59, &[1, 1, 1, 3, 11]),
    (61, &[1, 3, 5, 5, 31]),
    (67, &[1, 3, 3, 9, 7, 49]),
    (91, &[1, 1, 1, 15, 21, 21]),
    (97, &[1, 3, 1, 13, 27, 49]),
    (103, &[1, 1, 1, 15, 7, 5]),
    (109, &[1, 3, 1, 15, 13, 25]),
    (115, &[1, 1, 5, 5, 19, 61]),
    (131, &[1, 3, 7, 11, 23, 15, 103]),
    (137, &[1, 3, 7, 13, 13, 15, 69]),
    (143, &[1, 1, 3, 13, 7, 35, 63]),
    (145, &[1, 3, 5, 9, 1, 25, 53]),
    (157, &[1, 3, 1, 13, 9, 35, 107]),
    (167, &[1, 3, 1, 5, 27, 61, 31]),
    (171, &[1, 1, 5, 11, 19, 41, 61]),
    (185, &[1, 3, 5, 3, 3, 13, 69]),
    (191, &[1, 1, 7, 13, 1, 19, 1]),
    (193, &[1, 3, 7, 5, 13, 19, 59]),
    (203, &[1, 1, 3, 9, 25, 29, 41]),
    (211, &[1, 3, 5, 13, 23, 1, 55]),
    (213, &[1, 3, 7, 3, 13, 59, 17]),
    (229, &[1, 3, 1, 3, 5, 53, 69]),
    (239, &[1, 1, 5, 5, 23, 33, 13]),
    (241, &[1, 1, 7, 7, 1, 61, 123]),
    (247, &[1, 1, 7, 9, 13, 61, 49]),
    (253, &[1, 3, 3, 5, 3, 55, 33]),
    (285, &[1, 3, 1, 15, 31, 13, 49, 245]),
    (299, &[1, 3, 5, 15, 31, 59, 63, 97]),
    (301, &[1, 3, 1, 11, 11, 11, 77, 249]),
    (333, &[1, 3, 1, 11, 27, 43, 71, 9]),
    (351, &[1, 1, 7, 15, 21, 11, 81, 45]),
    (355, &[1, 3, 7, 3, 25, 31, 65, 79]),
    (357, &[1, 3, 1, 1, 19, 11, 3, 205]),
    (361, &[1, 1, 5, 9, 19, 21, 29, 157]),
    (369, &[1, 3, 7, 11, 1, 33, 89, 185]),
    (391, &[1, 3, 3, 3, 15, 9, 79, 71]),
    (397, &[1, 3, 7, 11, 15, 39, 119, 27]),
    (425, &[1, 1, 3, 1, 11, 31, 97, 225]),
    (451, &[1, 1, 1, 3, 23, 43, 57, 177]),
    (463, &[1, 3, 7, 7, 17, 17, 37, 71]),
    (487, &[1, 3, 1, 5, 27, 63, 123, 213]),
    (501, &[1, 1, 3, 5, 11, 43, 53, 133]),
    (529, &[1, 3, 5, 5, 29, 17, 47, 173, 479]),
    (539, &[1, 3, 3, 11, 3, 1, 109, 9, 69]),
    (545, &[1, 1, 1, 5, 17, 39, 23, 5, 343]),
    (557, &[1, 3, 1, 5, 25, 15, 31, 103, 499]),
    (563, &[1, 1, 1, 11, 11, 17, 63, 105, 183]),
    (601, &[1, 1, 5, 11, 9, 29, 97, 231, 363]),
    (607, &[1, 1, 5, 15, 19, 45, 41, 7, 383]),
    (617, &[1, 3, 7, 7, 31, 19, 83, 137, 221]),
    (623, &[1, 1, 1, 3, 23, 15, 111, 223, 83]),
    (631, &[1, 1, 5, 13, 31, 15, 55, 25, 161]),
    (637, &[1, 1, 3, 13, 25, 47, 39, 87, 257]),
];

#[cfg(test)]
mod tests {
    use super::*;

    /// SciPy 1.17.1 without scrambling, in its order of Gray code: `tests/references/sobol.py`.
    #[test]
    fn val_plain_points() {
        let text = include_str!("../../tests/references/sobol.json");
        let stored: serde_json::Value = serde_json::from_str(text).unwrap();
        let points = stored["points"].as_array().unwrap();
        assert_eq!(points.len(), 52);
        for point in points {
            let index = point["index"].as_u64().unwrap() as u32;
            let coordinates = point["point"].as_array().unwrap();
            assert_eq!(coordinates.len(), DIMENSIONS);
            for (dimension, coordinate) in coordinates.iter().enumerate() {
                let ours = plain(&directions(dimension), index ^ (index >> 1)) >> 2;
                assert_eq!(u64::from(ours), coordinate.as_u64().unwrap());
            }
        }
    }

    /// Scrambled as plain: each slice of 1/256 has one of 256 points that follow each other, in every dimension, and the plane of the
    /// first two dimensions one in each of its 16 x 16 squares.
    #[test]
    fn prop_scrambling_keeps_the_slices() {
        for seed in [0, 1, 99] {
            let sobol = Sobol::new(seed);
            for start in [0, 256, 4096] {
                for dimension in 0..DIMENSIONS {
                    let mut met = [false; 256];
                    for i in start..start + 256 {
                        met[(sobol.point(i, dimension) * 256.0) as usize] = true;
                    }
                    assert!(met.iter().all(|&met| met));
                }
                let mut met = [false; 256];
                for i in start..start + 256 {
                    let [x, y] = [0, 1].map(|d| (sobol.point(i, d) * 16.0) as usize);
                    met[16 * x + y] = true;
                }
                assert!(met.iter().all(|&met| met));
            }
        }
    }

    /// Over seeds each coordinate is uniform and independent of that of another dimension; two points whose plain coordinates share
    /// their first L bits have correlation 1 - 7/4 4^-L (the slice is uniform, its halves are opposite, the rest independent): 4 standard
    /// errors. The mean of a smooth function over 256 points errs far less than over random ones.
    #[test]
    fn analytic_scrambling_is_uniform_over_seeds() {
        let seeds = 4000;
        let n = f64::from(seeds);
        let others = [4, 7, 13, 70];
        let (mut mean, mut square, mut points, mut dimensions) = (0.0, 0.0, [0.0; 4], 0.0);
        let mut spread = 0.0;
        for seed in 0..seeds {
            let sobol = Sobol::new(seed as u64);
            let z = |i, d| (sobol.point(i, d) - 0.5) * 12_f64.sqrt();
            mean += z(5, 40);
            square += z(5, 40) * z(5, 40);
            for (sum, other) in points.iter_mut().zip(others) {
                *sum += z(5, 40) * z(other, 40);
            }
            dimensions += z(5, 40) * z(5, 41);
            if seed < 100 {
                let sum: f64 = (0..256).map(|i| z(i, 3) + z(i, 17) * z(i, 17)).sum();
                spread += (sum / 256.0 - 1.0) * (sum / 256.0 - 1.0) / 100.0;
            }
        }
        assert!(mean.abs() / n < 4.0 / n.sqrt());
        // Variance of z² of a uniform number: 4/5.
        assert!((square / n - 1.0).abs() < 4.0 * (0.8 / n).sqrt());
        for (sum, other) in points.into_iter().zip(others) {
            let directions = directions(40);
            let shared = (plain(&directions, 5) ^ plain(&directions, other)).leading_zeros();
            let expected = 1.0 - 1.75 / 4_f64.powi(shared as i32);
            assert!((sum / n - expected).abs() < 4.0 / n.sqrt(), "{other}");
        }
        assert!(dimensions.abs() / n < 4.0 / n.sqrt());
        // Random points: variance 1.8/256.
        assert!(spread < 1.8 / 256.0 / 100.0, "{spread}");
    }
}
