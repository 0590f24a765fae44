/* A card is read outside, in the dark: red, whatever ground was chosen for the other pages. */
document.documentElement.dataset.ground = "red";
