// Package report puts an analysis result into words, HTML and SVG. It computes no statistics: every number it shows is
// read from the result, and one method speaks in every sentence and figure (the result's headline).
//
// words.go holds how a number, an interval and a code are said; html.go the page; figure_*.go the drawings, whose
// motif is the rig: a line with its two flies.
package report
