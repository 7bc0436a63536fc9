// The switch between the two systems of units.

function unitsNow() {
    return document.documentElement.dataset.units;
}

function unitSwitch() {
    for (const name of ["metric", "us"]) {
        const choice = document.getElementById("units-" + name);
        choice.checked = unitsNow() === name;
        choice.addEventListener("change", () => {
            document.documentElement.dataset.units = name;
            document.dispatchEvent(new Event("units"));
        });
    }
}
