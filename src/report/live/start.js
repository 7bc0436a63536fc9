// Everything begins here, once the page is there.

// What a copy of the page is made from must not hold what the script adds.
const fresh = document.documentElement.cloneNode(true);
const data = JSON.parse(document.getElementById("rowroom-data").textContent);
document.documentElement.classList.add("live");
unitSwitch();
tryIt(data);
film(data);
note(fresh);
folds();
