package web

import (
	"errors"
	"net/http"
	"strconv"
	"strings"

	"evenrig/service/conduct"
	"evenrig/service/report"
	"evenrig/service/trial"
)

// protocolRoutes are the rule sheet: written while it is a draft, read afterwards, and planned by at any time.
func (s *Site) protocolRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/protocol", Signed: true, Handle: s.protocolPage},
		{Method: http.MethodPost, Path: "/trials/:trial/protocol", Signed: true, Handle: s.writeProtocol},
		{Method: http.MethodGet, Path: "/trials/:trial/protocol/versions/:version", Signed: true, Handle: s.protocolVersion},
		{Method: http.MethodPost, Path: "/trials/:trial/plan", Signed: true, Costly: true, Handle: s.plan},
	}
}

type protocolView struct {
	standing
	*Form
	Sections []formSection
	Missing  int // faults that stand in the way of registering
	Plan     *report.PlanBrief
	Rules    report.Rules
	Versions []conduct.VersionView
	Old      *conduct.VersionView // an earlier version, which the page shows instead of the one in force
}

// formSection is a part of the form with its fields as the page shows them.
type formSection struct {
	Name   string
	Fold   bool
	Fields []Field
}

func (s *Site) protocolPage(v *Visit) error {
	t, err := s.standing(v)
	if err != nil {
		return err
	}
	view := protocolView{standing: t, Rules: report.NewRules(t.Protocol)}
	if view.Form, err = protocolForm(t.Protocol); err != nil {
		return err
	}
	if !view.Writes() {
		if view.Versions, err = s.versionsOf(v, t); err != nil {
			return err
		}
		view.Sections = v.sections(t.Protocol, view.Form)
		return v.Page("protocol", view)
	}
	q := s.service.UsualSize()
	view.Form.Set("plan.anglers", number(float64(q.Anglers)))
	view.Form.Set("plan.fish_each", number(q.FishEach))
	view.Form.Set("plan.fish_per_outing", number(q.FishPerOuting))
	view.check(t.Protocol, t.Revision > 1)
	view.Sections = v.sections(t.Protocol, view.Form)
	return v.Page("protocol-form", view)
}

// protocolVersion shows one version of a rule sheet, as it was read while it was in force.
func (s *Site) protocolVersion(v *Visit) error {
	t, err := s.standing(v)
	if err != nil {
		return err
	}
	n, err := strconv.Atoi(v.Param("version"))
	if err != nil {
		return trial.Missing("version")
	}
	one, err := s.service.ProtocolVersion(v.Ctx(), v.Actor, t.ID(), n)
	if err != nil {
		return err
	}
	t.Protocol = one.Protocol
	view := protocolView{standing: t, Rules: report.NewRules(one.Protocol), Old: &one}
	if view.Form, err = protocolForm(one.Protocol); err != nil {
		return err
	}
	if view.Versions, err = s.versionsOf(v, t); err != nil {
		return err
	}
	view.Sections = v.sections(one.Protocol, view.Form)
	return v.Page("protocol", view)
}

// Changes reports whether the reader may change the registered rule sheet.
func (p protocolView) Changes() bool {
	return p.Old == nil && p.Trial.Amendable() == nil && trial.Permit(trial.AmendProtocol, p.Club.Role) == nil
}

// Writes reports whether the reader may write the rule sheet now.
func (p protocolView) Writes() bool {
	return p.In("draft") && trial.Permit(trial.WriteProtocol, p.Club.Role) == nil
}

// check counts the protocol's faults and, where the organiser has begun to write, shows each beside its field.
func (p *protocolView) check(of trial.Protocol, show bool) {
	failed, ok := errors.AsType[*trial.Error](of.Validate())
	if !ok {
		return
	}
	p.Missing = len(failed.Fields)
	if show {
		for _, f := range failed.Fields {
			p.Faults[f.Field] = f.Detail
		}
	}
}

// sections are the form's parts in the visitor's language.
func (v *Visit) sections(p trial.Protocol, f *Form) (list []formSection) {
	for _, section := range ruleSections(p) {
		shown := formSection{Name: section.Name, Fold: section.Fold}
		for _, rule := range section.Fields {
			shown.Fields = append(shown.Fields, v.ruleField(f, rule))
		}
		list = append(list, shown)
	}
	return list
}

func (v *Visit) ruleField(f *Form, rule ruleField) Field {
	words := rule.Path
	if rule.List != "" {
		words = rule.List
	}
	kind := map[fieldKind]string{wholeField: "number", maybe: "text", numbered: "text", someWhole: "ticks"}[rule.Kind]
	if kind == "" {
		kind = string(rule.Kind)
	}
	one := field(f, kind, rule.Path, v.book.sayOf("protocol", words), v.book.sayIf("protocol_help", words))
	if rule.Kind == numbered || rule.Kind == maybe {
		one.Inputmode = "decimal"
	}
	one.Quiet = rule.List != "" && !strings.Contains(rule.Path, "[0]") && !strings.HasPrefix(rule.Path, "patterns")
	if list, _, found := strings.Cut(rule.List, "[]"); found {
		one.Group = list
		if fault := f.Faults[list]; fault != "" && strings.Contains(rule.Path, "[0]") && one.Fault == "" {
			one.Fault, f.shown[list] = fault, true // the list's own fault stands at its first entry
		}
	}
	if one.Quiet {
		one.Help = ""
	}
	if strings.HasPrefix(rule.List, "species") {
		one.List = "species"
	}
	last := rule.Path[strings.LastIndex(rule.Path, ".")+1:]
	for _, option := range rule.Options {
		one.Options = append(one.Options, Option{option, v.book.sayOf("protocol_option", last+"."+option), f.Has(rule.Path, option)})
	}
	return one
}

func (s *Site) writeProtocol(v *Visit) error {
	f, view, p, err := s.written(v)
	if err != nil {
		return s.againProtocol(v, f, view, err)
	}
	seen, err := f.whole("revision")
	if err == nil {
		_, err = s.service.WriteProtocol(v.Ctx(), v.Actor, view.ID(), seen, p)
	}
	if err != nil {
		return s.againProtocol(v, f, view, err)
	}
	return v.See(trialPath(view.ID(), "/protocol"), "protocol_kept")
}

// written reads the form of a rule sheet over the one that stands.
func (s *Site) written(v *Visit) (f *Form, view protocolView, p trial.Protocol, err error) {
	if f, err = v.Form(); err != nil {
		return f, view, p, err
	}
	view.Form = f
	if view.standing, err = s.standing(v); err != nil {
		return f, view, p, err
	}
	p, err = protocolFrom(f, view.Protocol)
	return f, view, p, err
}

func (s *Site) againProtocol(v *Visit, f *Form, view protocolView, err error) error {
	if view.Trial.ID.IsZero() {
		return err
	}
	failed, ok := errors.AsType[*trial.Error](err)
	if !ok {
		return err
	}
	f.fail(failed)
	view.Sections = v.sections(view.Protocol, f)
	return v.Again("protocol-form", f, view, err)
}

// plan answers how large the trial must be that the form describes, without keeping the form. A script asks for the answer
// alone and puts it beside the fields.
func (s *Site) plan(v *Visit) error {
	f, view, p, err := s.written(v)
	if err != nil {
		return s.againProtocol(v, f, view, err)
	}
	q, err := s.sizeOf(f, p)
	if err == nil {
		var answer conduct.SizeAnswer
		if answer, err = s.service.PlanSize(v.Ctx(), q); err == nil {
			brief := report.NewPlanBrief(answer)
			view.Plan = &brief
		}
	}
	if v.Request().Header.Get("X-Part") == "plan" {
		if err != nil {
			f.failAll(err)
		}
		return v.part("protocol-form", "plan", view)
	}
	if err != nil {
		return s.againProtocol(v, f, view, err)
	}
	view.check(p, true)
	view.Sections = v.sections(p, f)
	return v.Page("protocol-form", view)
}

// playedSeasons are as many as a small server plays in some seconds; the chance they tell has an error of about 3 of 100.
const playedSeasons = 200

// sizeOf is the planner's question that the rule sheet and the three numbers beside it ask.
func (s *Site) sizeOf(f *Form, p trial.Protocol) (q conduct.SizeQuestion, err error) {
	q = s.service.UsualSize()
	if f.Get("play") == "yes" {
		q.Seasons = playedSeasons
	}
	var faults trial.Faults
	anglers := ruleField{Path: "plan.anglers", Kind: wholeField}.number(f.Get("plan.anglers"), &faults)
	each := ruleField{Path: "plan.fish_each", Kind: numbered}.number(f.Get("plan.fish_each"), &faults)
	outing := ruleField{Path: "plan.fish_per_outing", Kind: numbered}.number(f.Get("plan.fish_per_outing"), &faults)
	if err := faults.Err("plan.invalid", "the question has faults"); err != nil {
		return q, err
	}
	q.Anglers, q.FishEach, q.FishPerOuting = int(asNumber(anglers)), asNumber(each), asNumber(outing)
	q.Design, q.SmallestShare, q.Alpha, q.Power = string(p.Design), float64(p.SmallestShare)/100, p.Alpha, p.Power
	q.Swap.AfterFish, q.Swap.AfterMinutes, q.Swap.BlockMaySpan = p.Swap.AfterFish, p.Swap.AfterMinutes, p.Draw.BlockMaySpan
	q.Stopping = string(p.Stopping)
	if p.Looks != nil {
		q.Looks, q.Spending = p.Looks.Planned, p.Looks.Spending
	}
	return q, nil
}

func asNumber(value any) float64 {
	switch n := value.(type) {
	case float64:
		return n
	case int:
		return float64(n)
	}
	return 0
}
