package calibration

import (
	"fmt"
	"io"
	"slices"
	"strings"
)

// WriteMarkdown writes the rule's findings, what it would choose at each number of
// anglers, the coverage of every method in every cell, and then one table per method, a
// line a cell, in the order of the rows, every measure followed by ± its Monte Carlo
// standard error.
func WriteMarkdown(w io.Writer, rows []Row) error {
	var b strings.Builder
	c := Choose(rows, nil)
	writeChoice(&b, c)
	writeByAnglers(&b, rows, c.Method)
	writeCoverage(&b, rows, c)
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
	fmt.Fprintf(b, "### The rule\n\nCells with at least %d anglers; a method may speak if its coverage is at least %g %% less two Monte Carlo errors in each.\n\n", PromisedFrom, 100*PromisedCoverage)
	b.WriteString("| no. | method | may speak | mean width of 100 | least coverage % | cells failed | worst |\n|---|---|---|---|---|---|---|\n")
	for i, j := range c.Judgements {
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
		fmt.Fprintf(b, "| %d | %s | %s | %.1f | %.1f | %d of %d | %s |\n", i+1, j.Method, answer, 100*j.Width, 100*j.Least, len(j.Failed), j.Cells, worst)
	}
}

// writeByAnglers writes for each number of anglers how the chosen method does there, and
// what the rule would choose by these cells alone.
func writeByAnglers(b *strings.Builder, rows []Row, chosen string) {
	cells, least, most, width := map[int]float64{}, map[int]float64{}, map[int]float64{}, map[int]float64{}
	var anglers []int
	for _, r := range rows {
		if k := r.Cell.Anglers; r.Method == chosen {
			if cells[k] == 0 {
				anglers = append(anglers, k)
				least[k] = 1
			}
			cells[k]++
			least[k], most[k] = min(least[k], r.Coverage.Value), max(most[k], r.Coverage.Value)
			width[k] += r.ShareWidth.Value
		}
	}
	if len(anglers) == 0 {
		return
	}
	slices.Sort(anglers)
	fmt.Fprintf(b, "\n### By number of anglers\n\n| K | cells | coverage of %s %% | its mean width of 100 | the rule in these cells alone |\n|---|---|---|---|---|\n", chosen)
	for _, k := range anglers {
		alone := "nothing promised"
		if k >= PromisedFrom {
			c := Choose(rows, func(c Cell) bool { return c.Anglers == k })
			alone = "none"
			if c.Method != "" {
				alone = fmt.Sprintf("%s, %.1f", c.Method, 100*c.Judgements[0].Width)
			}
		}
		fmt.Fprintf(b, "| %d | %g | %.1f to %.1f | %.1f | %s |\n", k, cells[k], 100*least[k], 100*most[k], 100*width[k]/cells[k], alone)
	}
}

// writeCoverage writes every method's coverage in every cell, methods numbered as in the
// rule's table.
func writeCoverage(b *strings.Builder, rows []Row, c Choice) {
	number := map[string]int{}
	for i, j := range c.Judgements {
		number[j.Method] = i
	}
	var cells []string
	lines := map[string][]string{}
	for _, r := range rows {
		i, ok := number[r.Method]
		if !ok {
			continue
		}
		name := r.Cell.Name()
		if lines[name] == nil {
			cells = append(cells, name)
			lines[name] = slices.Repeat([]string{"-"}, len(number))
		}
		text := fmt.Sprintf("%.1f", 100*r.Coverage.Value)
		if r.falls(PromisedCoverage) {
			text = "**" + text + "**"
		}
		lines[name][i] = text
	}
	if len(cells) == 0 {
		return
	}
	b.WriteString("\n### Coverage, %, by the numbers above; bold falls short of the rule\n\n| cell |")
	for i := range len(number) {
		fmt.Fprintf(b, " %d |", i+1)
	}
	b.WriteString("\n|---|" + strings.Repeat("---|", len(number)) + "\n")
	for _, name := range cells {
		fmt.Fprintf(b, "| %s | %s |\n", name, strings.Join(lines[name], " | "))
	}
}

// show writes value ± error times scale; an unknown figure is a dash.
func (f Figure) show(scale float64, digits int) string {
	if !f.Known {
		return "-"
	}
	return fmt.Sprintf("%.*f ± %.*f", digits, scale*f.Value, digits, scale*f.MCError)
}
