package web

import (
	"context"
	"fmt"
	"html/template"
	"strings"
	"time"

	"rsc.io/qr"
)

type ctx = context.Context

// handout is a link that is told this once: as text, and as a code that a phone's camera reads. Kind is its page.
type handout struct {
	Kind, Secret, Back string
	Name               string // whom it is for, "" for whoever gets it
	Uses               int
	Ends               time.Time
	Link               string
	Code               template.HTML
}

// handOut shows a link. Its secret stands behind #, which a browser sends to nobody.
func (v *Visit) handOut(h handout) error {
	base := v.site.o.PublicURL
	if base == "" {
		base = v.Scheme() + "://" + v.Request().Host
	}
	h.Link = base + "/" + h.Kind + "#" + h.Secret
	var err error
	if h.Code, err = squares(h.Link, v.T("handout.code")); err != nil {
		return err
	}
	return v.Page("handout", h)
}

// squares draws a text as a QR code (ISO/IEC 18004, correction level M) with the four modules of quiet zone that the
// standard asks for. It is dark on light in either colour scheme, as cameras expect.
func squares(text, label string) (template.HTML, error) {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return "", fmt.Errorf("draw a QR code: %w", err)
	}
	var dark strings.Builder
	for y := range code.Size {
		for x := 0; x < code.Size; x++ {
			from := x
			for x < code.Size && code.Black(x, y) {
				x++
			}
			if x > from {
				fmt.Fprintf(&dark, "M%d %dh%dv1h-%dz", from+4, y+4, x-from, x-from)
			}
		}
	}
	side := code.Size + 8
	return template.HTML(fmt.Sprintf(`<svg class="squares" viewBox="0 0 %d %d" role="img" aria-label="%s" xmlns="http://www.w3.org/2000/svg"><rect width="%d" height="%d" fill="#fff"/><path fill="#000" d="%s"/></svg>`,
		side, side, template.HTMLEscapeString(label), side, side, dark.String())), nil
}
