package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"

	"evenrig/db"
	"evenrig/service/conduct"
)

var (
	ruleMetric = regexp.MustCompile(`\bevenrig_[a-z_]+\b`)
	descName   = regexp.MustCompile(`fqName: "([^"]+)"`)
	histogram  = regexp.MustCompile(`_(bucket|sum|count)$`)
)

// TestAlerts: every number that a rule asks for is told, every rule says what to do, and the runbook has a place for each.
func TestAlerts(t *testing.T) {
	told := map[string]bool{}
	m := newMetrics()
	m.asked(&db.Store{}, &conduct.Service{})
	described := make(chan *prometheus.Desc, 1000)
	m.registry.Describe(described)
	close(described)
	for d := range described {
		told[descName.FindStringSubmatch(d.String())[1]] = true
	}
	rules, err := os.ReadFile(filepath.Join("..", "deploy", "alerts.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	runbook, err := os.ReadFile(filepath.Join("..", "deploy", "runbook.md"))
	if err != nil {
		t.Fatal(err)
	}
	parts := strings.Split(string(rules), "- alert: ")[1:]
	if len(parts) < 6 {
		t.Fatalf("only %d rules", len(parts))
	}
	for _, rule := range parts {
		name, _, _ := strings.Cut(rule, "\n")
		for _, want := range []string{"expr: ", "severity: ", "summary: ", "action: ", "runbook_url: deploy/runbook.md#" + strings.ToLower(name) + "\n"} {
			if !strings.Contains(rule, want) {
				t.Errorf("%s lacks %q", name, want)
			}
		}
		_, expr, _ := strings.Cut(rule, "expr: ")
		expr, _, _ = strings.Cut(expr, "\n")
		asked := ruleMetric.FindAllString(expr, -1)
		if len(asked) == 0 {
			t.Errorf("%s asks for nothing", name)
		}
		for _, metric := range asked {
			if !told[metric] && !told[histogram.ReplaceAllString(metric, "")] {
				t.Errorf("%s asks for %s, which nobody tells", name, metric)
			}
		}
		if !strings.Contains(string(runbook), "\n### "+name+"\n") {
			t.Errorf("the runbook has no section %q", "### "+name)
		}
	}
}
