// Parts that unfold: a link into one opens it, and paper has all of them.

function unfold(target) {
    for (let fold = target?.closest("details"); fold; fold = fold.parentElement.closest("details")) {
        fold.open = true;
    }
}

function folds() {
    const opened = [];
    const go = () => unfold(document.querySelector(":target"));
    document.querySelectorAll("a[href^='#']").forEach((link) => {
        link.addEventListener("click", () => unfold(document.getElementById(link.hash.slice(1))));
    });
    window.addEventListener("hashchange", go);
    go();
    // Where the style already shows them on paper, this changes nothing.
    window.addEventListener("beforeprint", () => {
        opened.push(...document.querySelectorAll("details:not([open])"));
        opened.forEach((fold) => (fold.open = true));
    });
    window.addEventListener("afterprint", () => {
        opened.splice(0).forEach((fold) => (fold.open = false));
    });
}
