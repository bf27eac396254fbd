// The report is made when it is asked for; until then a line says so.
const framed = document.getElementById("framed");
const hide = () => { document.getElementById("making").hidden = true; };
framed.addEventListener("load", hide);
if (framed.contentDocument === null) hide();
