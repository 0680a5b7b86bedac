// Package draw turns samples, bands and forecasts into the SVG pictures of the
// phone page: a cut through the ground, with the bands as layers drawn to
// scale and the curve running across them, and the reach of each species.
//
// It is pure: no clock, no I/O, no request. It knows nothing of farms beyond
// the nouns it draws, and it never lets a name through unescaped. Only package
// page calls it. Horizontal places are percentages and vertical ones CSS
// pixels, so one picture fits a phone and a desk without a script; fills named
// url(#...) are the textures of the page's sprite.
package draw
