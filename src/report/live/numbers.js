// Numbers as people read them, text for text as src/report/display.rs and sentences.rs write them: the same functions under the same
// names. units is "metric" or "us".

// A number with exactly so many decimals and no minus before nothing. An exact half goes to the even digit, as in Rust; toFixed would
// take the larger one. A number lies exactly half way only if it has one binary place more than decimals, and toFixed is exact then.
function fixed(value, decimals) {
    const size = Math.abs(value);
    let text = size.toFixed(decimals);
    if (Number.isInteger(size * 2 ** (decimals + 1))) {
        const exact = size.toFixed(decimals + 1);
        const below = exact.slice(0, -1).replace(/\.$/, "");
        if (exact.endsWith("5") && "02468".includes(below.slice(-1))) {
            text = below;
        }
    }
    return value < 0 && /[1-9]/.test(text) ? "-" + text : text;
}

// A number with its sign, also where it gains; nothing has none.
function signed(value, decimals) {
    const text = fixed(value, decimals);
    return text.startsWith("-") || !/[1-9]/.test(text) ? text : "+" + text;
}

// A number with at most so many decimals and no zeros behind.
function trimmed(value, decimals) {
    const text = fixed(value, decimals);
    return text.includes(".") ? text.replace(/\.?0+$/, "") : text;
}

// A count with a space between groups of three digits.
function grouped(count) {
    const most = 2n ** 64n - 1n;
    const whole = BigInt(count);
    const digits = String(whole < most ? whole : most);
    return digits.length > 4 ? digits.replace(/\B(?=(\d{3})+$)/g, " ") : digits;
}

// An amount of money without its currency: to whole ones from a hundred on.
function money(amount) {
    const size = Math.abs(amount);
    if (size < 99.95) {
        return fixed(amount, 1);
    }
    return (amount < 0 ? "-" : "") + grouped(Math.round(size));
}

// The power of ten of a number's first digit: 2 for 240, -1 for 0.5; of all its digits, or rounded to that many after the first.
function powerOfTen(value, digits) {
    return Number(value.toExponential(digits).split("e")[1]);
}

// A share to two digits of itself or to the first digit of what it lacks to the whole.
function percent(share) {
    const hundredths = 100 * share;
    const nearestEnd = Math.min(hundredths, 100 - hundredths);
    if (nearestEnd <= 0) {
        return trimmed(hundredths, 4) + " %";
    }
    if (hundredths < 0.0001) {
        return "<0.0001 %";
    }
    const digits = hundredths < 50 ? 1 : 0;
    const decimals = Math.min(Math.max(digits - powerOfTen(nearestEnd, digits), 0), 5);
    return fixed(hundredths, decimals) + " %";
}

// A level or a limit that somebody chose.
function chosenPercent(share) {
    return trimmed(100 * share, 4) + " %";
}

// From here on a share reads better out of a hundred than as one in so many.
function isCommon(rate) {
    return rate >= 0.2;
}

// The N of "1 in N" to two digits; beyond a million it says no more than that.
function oneIn(rate) {
    if (100 * rate < 0.0001) {
        return "over 1 000 000";
    }
    const n = 1 / rate;
    const unit = Number("1e" + Math.max(powerOfTen(n) - 1, 0));
    return grouped(Math.round(n / unit) * unit);
}

// A rate in words: "1 plant in 240", "56 of 100 plants", "no plant".
function plantsInWords(rate) {
    if (rate <= 0) {
        return "no plant";
    }
    return isCommon(rate) ? fixed(100 * rate, 0) + " of 100 plants" : "1 plant in " + oneIn(rate);
}

// A limit of a rate in words: "1 in 150", "62 of 100".
function limitInWords(rate) {
    if (rate <= 0) {
        return "none";
    }
    return isCommon(rate) ? fixed(100 * rate, 0) + " of 100" : "1 in " + oneIn(rate);
}

// A share of cut plants and its upper limit as a sentence without its full stop.
function cutInWords({ rate, upper }) {
    const most = limitInWords(upper);
    if (rate <= 0) {
        return "No plant is cut in these passes; at most it is " + most;
    }
    const verb = isCommon(rate) ? "are" : "is";
    return "About " + plantsInWords(rate) + " " + verb + " cut, at most " + most + " by these passes";
}

// A speed in m/s with its unit: "8 km/h".
function speedText(speed, units) {
    return units === "us" ? trimmed(speed * 3600 / 1609.344, 2) + " mph" : trimmed(speed * 3600 / 1000, 2) + " km/h";
}

// A length in m that was chosen: "38 mm", "1.5 in".
function clearanceText(length, units) {
    return units === "us" ? trimmed(length / 0.0254, 2) + " in" : trimmed(length * 1000, 2) + " mm";
}

// A small length in m that was computed, to 0.1 mm or 0.01 in.
function smallText(length, units) {
    return units === "us" ? fixed(length / 0.0254, 2) + " in" : fixed(length * 1000, 1) + " mm";
}

// A distance along the row in m: "200 m".
function distanceText(length, units) {
    return units === "us" ? trimmed(length / 0.3048, 1) + " ft" : trimmed(length, 1) + " m";
}

function landUnit(units) {
    return units === "us" ? "acre" : "hectare";
}

function hectaresPerAcre() {
    return 0.40468564224;
}

// Something per hectare as something per unit of land.
function perLand(perHectare, units) {
    return units === "us" ? perHectare * hectaresPerAcre() : perHectare;
}

// Hectares as units of land.
function land(hectares, units) {
    return units === "us" ? hectares / hectaresPerAcre() : hectares;
}

// "420 crowns a hectare"
function price(perHectare, currency, units) {
    const article = units === "us" ? "an" : "a";
    return money(perLand(perHectare, units)) + " " + currency + " " + article + " " + landUnit(units);
}
