package report

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// constants reads from a package's source the string constants of one type, or of one prefix where the type is empty; by name.
func constants(t *testing.T, folder, of, prefix string) map[string]string {
	t.Helper()
	sources, err := filepath.Glob(filepath.Join(folder, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]string{}
	for _, source := range sources {
		if strings.HasSuffix(source, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), source, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			decl, ok := n.(*ast.GenDecl)
			if !ok || decl.Tok != token.CONST {
				return true
			}
			for _, spec := range decl.Specs {
				v := spec.(*ast.ValueSpec)
				typed, _ := v.Type.(*ast.Ident)
				for i, name := range v.Names {
					if of != "" && (typed == nil || typed.Name != of) || !strings.HasPrefix(name.Name, prefix) || i >= len(v.Values) {
						continue
					}
					if literal, ok := v.Values[i].(*ast.BasicLit); ok && literal.Kind == token.STRING {
						if found[name.Name], err = strconv.Unquote(literal.Value); err != nil {
							t.Fatal(err)
						}
					}
				}
			}
			return true
		})
	}
	return found
}

// Every code that a result may carry has words of its own, none is shown as the machine says it, and no two read alike.
func TestEveryCodeHasWords(t *testing.T) {
	n := names{Test: "the changed fly", Control: "the usual fly", Lower: "point", Upper: "dropper"}
	const analysisFolder, trialFolder = "../analysis", "../trial"
	for _, c := range []struct {
		what                string
		folder, kind, start string
		least               int // constants known when this was written
		word                func(string) string
	}{
		{"case", analysisFolder, "Case", "Case", 21, func(s string) string { return caseNames[analysis.Case(s)] }},
		{"warning", analysisFolder, "", "Warn", 34, func(s string) string { return warningWords[s].About }},
		{"verdict", analysisFolder, "VerdictCode", "", 4, func(s string) string { return VerdictName(analysis.VerdictCode(s), n) }},
		{"method", analysisFolder, "Method", "", 2, func(s string) string { return MethodName(analysis.Method(s)) }},
		{"fit", analysisFolder, "FitStatus", "", 6, func(s string) string {
			if analysis.FitStatus(s) == analysis.Converged {
				return "it is shown, not said"
			}
			return fitStatus(analysis.FitStatus(s))
		}},
		{"form", analysisFolder, "Vary", "", 3, func(s string) string { return VaryName(analysis.Vary(s)) }},
		{"estimator", analysisFolder, "Estimator", "", 5, func(s string) string { return EstimatorName(analysis.Estimator(s)) }},
		{"adjustment", analysisFolder, "Adjustment", "", 3, func(s string) string { return AdjustmentName(analysis.Adjustment(s)) }},
		{"correction", analysisFolder, "Correction", "", 2, func(s string) string { return CorrectionName(analysis.Correction(s)) }},
		{"decision", trialFolder, "Decision", "", 5, func(s string) string { return DecisionName(trial.Decision(s)) }},
		{"stopping rule", trialFolder, "Stopping", "", 3, func(s string) string { return StoppingName(trial.Stopping(s)) }},
		{"exclusion", trialFolder, "Exclusion", "", 14, func(s string) string { return exclusionNames[trial.Exclusion(s)] }},
	} {
		codes := constants(t, c.folder, c.kind, c.start)
		if len(codes) < c.least {
			t.Errorf("%s: only %d constants were found in the source, want %d or more", c.what, len(codes), c.least)
		}
		said := map[string]string{}
		for name, code := range codes {
			word := c.word(code)
			switch {
			case word == "" || word == Missing:
				t.Errorf("%s %s (%q) has no words", c.what, name, code)
			case strings.Contains(word, "_"), strings.Contains(code, "_") && c.what != "exclusion" && word == spaced(code):
				t.Errorf("%s %s is said as the machine says it: %q", c.what, name, word)
			case said[word] != "" && c.what != "warning":
				t.Errorf("%s %s and %s are both %q", c.what, name, said[word], word)
			}
			said[word] = name
		}
	}
}

// Labels stand above their rows on a phone, where there is room for 32 letters.
func TestCaseNamesAreShort(t *testing.T) {
	n := names{Test: "A", Control: "B"}
	for code := range caseNames {
		if said := CaseName(code, "7K3M9Q", n); clip(said, 32) != said {
			t.Errorf("%q is too long for a phone", said)
		}
	}
}

// Every warning is read: before the numbers, among what cannot be shown, or beside the groups of fish.
func TestEveryWarningIsSaid(t *testing.T) {
	for _, x := range examples(t) {
		text := parse(t, render(t, x.result, x.about)).text()
		for _, w := range x.result.Warnings {
			if !strings.Contains(text, sentence(w.Detail)) {
				t.Errorf("%s: the warning %s is not said: %q", x.name, w.Code, w.Detail)
			}
		}
	}
}
