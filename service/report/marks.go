package report

// The marks of the motif as SVG path data: a line with its two flies, its knot, and a fish. Pages place them by reference, pictures
// draw them as they are.
const (
	// A fly has its eye at 0,0 and lies to the right; it hangs by its eye.
	flyHook = "M3.4 0H20C26.5 0 27 8.6 21.6 9.2 19.6 9.4 18.2 8.2 18.1 6.4M7-1.4C8.4-5 11-7.4 14.6-8.4M7 1.4C8.2 4 9.6 5.6 11.6 6.8M20-.8 25-4.6M20.4-.4 26.4-2.4"
	flyBody = "M6.4-1.9C10-4.6 16-4.2 20.2-.6 16 2.9 10 3.4 6.4 1.9Z"
	knotTag = "M-2.4-5-6.4-11M2.4-5 6-11.8"
	// A fish swims to the left in a box of 44 by 24.
	fishOutline = "M2 12C8 4.6 22 3.4 31 10.6L39.5 5.4 37.6 12 39.5 18.6 31 13.4C22 20.6 8 19.4 2 12Z"
	fishBack    = "M12 6.2C14 1 21 .4 25.2 6.6"
)

// markData gives a template the path data of a mark.
func markData(name string) string {
	return map[string]string{"hook": flyHook, "body": flyBody, "knot tag": knotTag, "fish": fishOutline, "fish back": fishBack}[name]
}
