package calibration

import (
	"fmt"
	"io"
	"strings"
)

// WriteMarkdown writes the rule's findings and then one table per method, a line a
// cell, in the order of the rows. Every measure is followed by ± its Monte Carlo
// standard error.
func WriteMarkdown(w io.Writer, rows []Row) error {
	var b strings.Builder
	writeChoice(&b, Choose(rows, nil))
	var methods []string
	byMethod := map[string][]Row{}
	for _, r := range rows {
		if byMethod[r.Method] == nil {
			methods = append(methods, r.Method)
		}
		byMethod[r.Method] = append(byMethod[r.Method], r)
	}
	for _, m := range methods {
		fmt.Fprintf(&b, "\n### %s\n\n", m)
		b.WriteString("| cell | coverage % | width of 100 | width, log odds | excludes no effect % | bias | RMSE | not fitted % |\n")
		b.WriteString("|---|---|---|---|---|---|---|---|\n")
		for _, r := range byMethod[m] {
			fmt.Fprintf(&b, "| %s | %s | %s | %s | %s | %s | %s | %s |\n", r.Cell.Name(),
				r.Coverage.show(100, 1), r.ShareWidth.show(100, 1), r.OddsWidth.show(1, 2),
				r.ExcludesZero.show(100, 1), r.Bias.show(1, 3), r.RMSE.show(1, 3), r.NotFitted.show(100, 1))
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// writeChoice writes which methods may speak by the rule, and which is chosen.
func writeChoice(b *strings.Builder, c Choice) {
	fmt.Fprintf(b, "Cells with at least %d anglers; a method may speak if its coverage is at least %g %% less two Monte Carlo errors in each.\n\n", PromisedFrom, 100*PromisedCoverage)
	b.WriteString("| method | may speak | mean width of 100 | least coverage % | cells failed | worst |\n|---|---|---|---|---|---|\n")
	for _, j := range c.Judgements {
		answer, worst := "no", ""
		switch {
		case j.Method == c.Method:
			answer = "yes, chosen"
		case j.Qualifies():
			answer = "yes"
		case !j.Complete:
			answer = "not tried everywhere"
		}
		if len(j.Failed) > 0 {
			worst = j.Failed[0].Cell.Name()
		}
		fmt.Fprintf(b, "| %s | %s | %.1f | %.1f | %d of %d | %s |\n", j.Method, answer, 100*j.Width, 100*j.Least, len(j.Failed), j.Cells, worst)
	}
}

// show writes value ± error times scale; an unknown figure is a dash.
func (f Figure) show(scale float64, digits int) string {
	if !f.Known {
		return "-"
	}
	return fmt.Sprintf("%.*f ± %.*f", digits, scale*f.Value, digits, scale*f.MCError)
}
