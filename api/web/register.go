package web

import (
	"net/http"
	"strconv"

	"evenrig/service/trial"
)

// registerRoutes are the lists of registered trials, for whoever asks.
func (s *Site) registerRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/register", Handle: s.registerPage},
		{Method: http.MethodGet, Path: "/year/:year", Handle: s.yearPage},
	}
}

// registerLimit is how many trials a page of the register lists.
const registerLimit = 50

func (s *Site) registerPage(v *Visit) error {
	var after trial.ID
	if text := v.QueryParam("after"); text != "" {
		var err error
		if after, err = trial.ParseID(text); err != nil {
			return trial.Missing("page")
		}
	}
	list, err := s.service.Register(v.Request().Context(), trial.Page{After: after, Limit: registerLimit + 1})
	if err != nil {
		return err
	}
	data := struct {
		Trials []trial.Registration
		Next   string
		Years  []int
	}{Trials: list[:min(len(list), registerLimit)], Years: yearsUntil(s.o.Now().UTC().Year())}
	if len(list) > registerLimit {
		data.Next = list[registerLimit-1].Trial.ID.String()
	}
	return v.Page("register", data)
}

// yearsUntil are this year and the two before it, for links.
func yearsUntil(year int) []int { return []int{year, year - 1, year - 2} }

// year is a year's questions by what became of them; a question stands in the year it was registered, settled or abandoned in.
type year struct {
	Year                     int
	Settled, Open, Abandoned []trial.Registration
	Earlier, Later           int // 0 for none
}

func (s *Site) yearPage(v *Visit) error {
	y, err := strconv.Atoi(v.Param("year"))
	if err != nil || y < 2000 || y > 9999 {
		return trial.Missing("year")
	}
	data := year{Year: y, Earlier: y - 1}
	if y < s.o.Now().UTC().Year() {
		data.Later = y + 1
	}
	page := trial.Page{Limit: registerLimit}
	for {
		list, err := s.service.Register(v.Request().Context(), page)
		if err != nil {
			return err
		}
		for _, e := range list {
			data.add(e)
		}
		if len(list) < page.Limit {
			return v.Page("year", data)
		}
		page.After = list[len(list)-1].Trial.ID
	}
}

func (y *year) add(e trial.Registration) {
	t := e.Trial
	switch {
	case e.AbandonedAt != nil:
		if e.AbandonedAt.Year() == y.Year {
			y.Abandoned = append(y.Abandoned, e)
		}
	case t.LockedAt != nil:
		if t.LockedAt.Year() == y.Year {
			y.Settled = append(y.Settled, e)
		}
	case t.RegisteredAt != nil && t.RegisteredAt.Year() <= y.Year:
		y.Open = append(y.Open, e)
	}
}
