// A copy of the page with the customer's name and the note in it.

function note(fresh) {
    const button = document.getElementById("note-save");
    if (button === null) {
        return;
    }
    button.addEventListener("click", () => {
        const copy = fresh.cloneNode(true);
        copy.querySelector("#note-customer").setAttribute("value", document.getElementById("note-customer").value);
        // The first line break inside the element is not read back.
        copy.querySelector("#note-text").textContent = "\n" + document.getElementById("note-text").value;
        const page = new Blob(["<!DOCTYPE html>\n", copy.outerHTML, "\n"], { type: "text/html" });
        const link = document.createElement("a");
        link.href = URL.createObjectURL(page);
        link.download = "report_with_note.html";
        link.click();
        setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    });
}
