package web

import (
	"net/http"
	"strings"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// changeRoutes are changes of a registered rule sheet: new versions, each with its reason; and what an organiser lets an
// angler do in warm water.
func (s *Site) changeRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/protocol/change", Signed: true, Handle: s.changePage},
		{Method: http.MethodPost, Path: "/trials/:trial/protocol/change", Signed: true, Handle: s.changeProtocol},
		{Method: http.MethodPost, Path: "/trials/:trial/overrides", Signed: true, Handle: s.overrideWelfare},
	}
}

// changeable are the fields that the page of a rule change shows: those that a registered rule sheet may change. Which changes
// of them are taken, the protocol's own rules say.
var changeable = []string{
	"waters[", "place_grid", "season_end", "min_anglers", "outing_limits.min_minutes", "outing_limits.max_minutes", "welfare.", "funding", "conflicts",
}

func mayChange(path string) bool {
	for _, prefix := range changeable {
		if path == prefix || strings.HasPrefix(path, prefix) && strings.ContainsAny(prefix[len(prefix)-1:], "[.") {
			return true
		}
	}
	return false
}

func (s *Site) changePage(v *Visit) error {
	view, err := s.changing(v)
	if err != nil {
		return err
	}
	if view.Form, err = protocolForm(view.Protocol); err != nil {
		return err
	}
	view.Sections = changeableOf(v.sections(view.Protocol, view.Form))
	return v.Page("rule-change", view)
}

func (s *Site) changing(v *Visit) (view protocolView, err error) {
	if view.standing, err = s.standing(v); err != nil {
		return view, err
	}
	if err := trial.Permit(trial.AmendProtocol, view.Club.Role); err != nil {
		return view, err
	}
	return view, view.Trial.Amendable()
}

// changeableOf leaves of the form's parts what may be changed.
func changeableOf(sections []formSection) (kept []formSection) {
	for _, section := range sections {
		var fields []Field
		for _, f := range section.Fields {
			if mayChange(f.Name) {
				fields = append(fields, f)
			}
		}
		if len(fields) > 0 {
			section.Fields = fields
			kept = append(kept, section)
		}
	}
	return kept
}

func (s *Site) changeProtocol(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.changing(v)
	if err != nil {
		return err
	}
	view.Form = f
	p, err := protocolFrom(f.over(view.Protocol), view.Protocol)
	var seen int
	if err == nil {
		seen, err = f.whole("revision")
	}
	if err == nil {
		_, err = s.service.AmendProtocol(v.Ctx(), v.Actor, view.ID(), seen, p, f.Get("reason"))
	}
	if err != nil {
		f.failAll(err)
		for name, detail := range f.Faults { // the rule change names its fields below the protocol
			if below, found := strings.CutPrefix(name, "protocol."); found {
				delete(f.Faults, name)
				f.Faults[below] = detail
			}
		}
		view.Sections = changeableOf(v.sections(view.Protocol, f))
		return v.again("rule-change", view, err)
	}
	return v.See(trialPath(view.ID(), "/protocol"), "rule_changed")
}

// over fills in what the form does not show from the protocol as it stands, so that only what is shown can change.
func (f *Form) over(p trial.Protocol) *Form {
	full, err := protocolForm(p)
	if err != nil {
		return f
	}
	for name := range full.Values {
		if mayChange(name) {
			full.Values.Del(name)
		}
	}
	for name, values := range f.Values {
		if mayChange(name) {
			full.Values[name] = values
		}
	}
	full.Faults = f.Faults
	return full
}

func (s *Site) overrideWelfare(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.membersOf(v, f)
	if err != nil {
		return err
	}
	if _, err := s.service.OverrideWelfare(v.Ctx(), v.Actor, view.ID(), f.Get("angler"), trial.WelfareOverride{Day: f.Get("day"), Reason: f.Get("reason")}); err != nil {
		return v.refused("enrolled", f, view, err)
	}
	return v.See(trialPath(view.ID(), "/members"), "override_made")
}

// versionsOf lists the versions of a rule sheet, where it has been changed.
func (s *Site) versionsOf(v *Visit, t standing) ([]conduct.VersionView, error) {
	if t.Trial.RegisteredAt == nil {
		return nil, nil
	}
	return s.service.ProtocolVersions(v.Ctx(), v.Actor, t.ID())
}
