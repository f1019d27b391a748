// Package report puts an analysis result into words, HTML and SVG. It fits nothing: what it shows is read from the
// result, or is a share or a limit that follows from a log odds and its standard error there, and one method speaks in
// every sentence and figure (the result's headline).
//
// words*.go hold how a number, an interval and a code are said; sentences.go, checks.go, sensitivity.go, subgroups.go, numbers*.go
// and fished.go the parts of a page; figure*.go the drawings, whose motif is the rig: a line with its two flies; html.go and
// text*.go the two forms, in one reading order; plan*.go and kit*.go what is made before a trial.
package report
