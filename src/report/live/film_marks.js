// The small marks of the film, and the key under it that says what they mean.

const FONT = "13px sans-serif";
const BOLD_FONT = "bold 13px sans-serif";
const SMALL_FONT = "12px sans-serif";
const LINE_PX = 17;
const DASHED = [6, 4];
const UNBROKEN = [];

// Marks in the sheet's colours; what ends in Path only adds to the path.
function filmMarks({ pen, colour }) {
    function plant(x, y) {
        pen.fillStyle = colour.plant;
        pen.fillRect(x - 0.75, y - 7, 1.5, 14);
        pen.beginPath();
        pen.arc(x, y, 2.8, 0, 2 * Math.PI);
        pen.fill();
    }

    function crossPath(x, y, size) {
        pen.moveTo(x - size, y - size);
        pen.lineTo(x + size, y + size);
        pen.moveTo(x - size, y + size);
        pen.lineTo(x + size, y - size);
    }

    function paintTouched() {
        pen.lineCap = "round";
        // The rim keeps the cross apart from the soil behind it.
        pen.strokeStyle = colour.page;
        pen.lineWidth = 5.5;
        pen.stroke();
        pen.strokeStyle = colour.touched;
        pen.lineWidth = 2.8;
        pen.stroke();
        pen.lineCap = "butt";
    }

    function diamondPath(x, y, size) {
        pen.moveTo(x, y - size);
        pen.lineTo(x + size, y);
        pen.lineTo(x, y + size);
        pen.lineTo(x - size, y);
        pen.closePath();
    }

    function paintCut() {
        pen.fillStyle = colour.touched;
        pen.fill();
        pen.strokeStyle = colour.ink;
        pen.lineWidth = 1.2;
        pen.stroke();
    }

    // A blade from its edge at y outwards (side -1 is up), trailing a little.
    function bladePath(x, y, side, reach) {
        pen.moveTo(x + 2, y);
        pen.lineTo(x - 2, y);
        pen.lineTo(x - 9, y + side * reach);
        pen.lineTo(x - 2, y + side * reach);
        pen.closePath();
    }

    function camera(x, y) {
        pen.beginPath();
        pen.arc(x, y, 7.5, 0, 2 * Math.PI);
        pen.strokeStyle = colour.camera;
        pen.lineWidth = 2.5;
        pen.stroke();
    }

    function axle(x, y) {
        pen.fillStyle = colour.soft;
        pen.fillRect(x - 6, y - 4, 12, 8);
        pen.strokeStyle = colour.page;
        pen.lineWidth = 1;
        pen.strokeRect(x - 6.5, y - 4.5, 13, 9);
    }

    return { plant, crossPath, paintTouched, diamondPath, paintCut, bladePath, camera, axle };
}

// The key and the notes on what is shown; they are drawn once, when the sheet is laid out.
function filmKey(told, sheet, marks) {
    const { pen, colour, rowsShown } = sheet;
    const rows = told.rows_m.length;
    const several = rowsShown.length > 1;
    const driverRow = rowsShown[sheet.driverStrip];
    const driverText = "driver's line, to the rear axle" + (several ? `, moved to row ${driverRow + 1}` : "");
    const items = [
        { text: "plant and its protected width", draw: (x, y) => marks.plant(x + 8, y) },
        { text: "touched", draw: drawTouched },
        { text: "cut", draw: drawCut },
        { text: "worked soil", draw: drawSoil },
        { text: "tools and the path of their edges", draw: drawTool },
        { text: "where the camera looks", draw: (x, y) => marks.camera(x + 9, y) },
        { text: driverText, draw: drawDriver },
    ];
    let noteLines = [];
    let noteY = 0;

    function drawTouched(x, y) {
        pen.beginPath();
        marks.crossPath(x + 8, y, 5);
        marks.paintTouched();
    }

    function drawCut(x, y) {
        pen.beginPath();
        marks.diamondPath(x + 8, y, 5.5);
        marks.paintCut();
    }

    function drawSoil(x, y) {
        pen.fillStyle = colour.soil;
        pen.fillRect(x, y - 6, 17, 12);
    }

    function drawTool(x, y) {
        pen.fillStyle = colour.tool;
        pen.beginPath();
        marks.bladePath(x + 15, y - 2, -1, 7);
        marks.bladePath(x + 15, y + 2, 1, 7);
        pen.fill();
        pen.strokeStyle = colour.ink;
        pen.lineWidth = 1.2;
        pen.beginPath();
        pen.moveTo(x - 1, y - 2);
        pen.lineTo(x + 14, y - 2);
        pen.moveTo(x - 1, y + 2);
        pen.lineTo(x + 14, y + 2);
        pen.stroke();
    }

    function drawDriver(x, y) {
        pen.strokeStyle = colour.soft;
        pen.lineWidth = 2;
        pen.setLineDash(DASHED);
        pen.beginPath();
        pen.moveTo(x - 1, y);
        pen.lineTo(x + 8, y);
        pen.stroke();
        pen.setLineDash(UNBROKEN);
        marks.axle(x + 12, y);
    }

    function listed(numbers) {
        return numbers.length < 2
            ? String(numbers[0])
            : `${numbers.slice(0, -1).join(", ")} and ${numbers[numbers.length - 1]}`;
    }

    function notes(enlarged) {
        const shown = rowsShown.map((row) => row + 1);
        const which = shown.length === rows
            ? ""
            : `Shown: ${several ? "rows" : "row"} ${listed(shown)} of ${rows}; all rows are counted. `;
        const gap = sheet.pass.cutOut ? "Ground between the rows is cut out. " : "";
        const bends = sheet.pass.straightened ? "Slow bends of the rows are drawn straight. " : "";
        const size = `Sideways enlarged ${enlarged.toFixed(enlarged < 10 ? 1 : 0)} times, left of travel is up.`;
        return which + gap + bends + size;
    }

    // Lays the key out in lines; returns its height.
    function lay(top, width, enlarged) {
        const gap = 20;
        const mark = 23;
        let x = 0;
        let y = top + 10;
        pen.font = SMALL_FONT;
        for (const item of items) {
            const length = mark + pen.measureText(item.text).width;
            if (x > 0 && x + length > width) {
                x = 0;
                y += LINE_PX + 2;
            }
            item.x = x;
            item.y = y;
            x += length + gap;
        }
        noteLines = [];
        let line = "";
        for (const word of notes(enlarged).split(" ")) {
            const longer = line === "" ? word : `${line} ${word}`;
            if (line !== "" && pen.measureText(longer).width > width) {
                noteLines.push(line);
                line = word;
            } else {
                line = longer;
            }
        }
        noteLines.push(line);
        noteY = y + LINE_PX + 4;
        return noteY + (noteLines.length - 1) * LINE_PX + 10 - top;
    }

    function draw() {
        pen.textAlign = "left";
        pen.font = SMALL_FONT;
        for (const item of items) {
            item.draw(item.x, item.y);
            pen.fillStyle = colour.ink;
            pen.fillText(item.text, item.x + 23, item.y + 1);
        }
        pen.fillStyle = colour.soft;
        noteLines.forEach((line, i) => pen.fillText(line, 0, noteY + i * LINE_PX));
    }

    return { lay, draw };
}
