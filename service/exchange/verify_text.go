package exchange

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"evenrig/service/report"
)

// Text writes the verdict in plain words, for a terminal or a message. Errors come from w only.
func (v Verdict) Text(w io.Writer) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s\ntrial %s, edition %d\n", v.Title, v.Trial, v.Edition)
	for _, group := range []struct {
		outcome Outcome
		heading string
	}{{Disagrees, "WHAT DOES NOT AGREE"}, {Agrees, "WHAT AGREES"}, {CannotTell, "WHAT CANNOT BE TOLD FROM THE PACKAGE"}} {
		var lines []string
		for _, f := range v.Findings {
			if f.Outcome == group.outcome {
				lines = append(lines, indented(f.Part+": "+f.Text))
			}
		}
		if len(lines) > 0 {
			fmt.Fprintf(&b, "\n%s\n%s\n", group.heading, strings.Join(lines, "\n"))
		}
	}
	if len(v.Own) > 0 {
		b.WriteString("\nYOUR RECEIPTS\n")
		same := 0
		for _, own := range v.Own {
			if len(v.Own) > receiptsTold && own.asReceived() {
				same++
				continue
			}
			b.WriteString(indented(own.String()) + "\n")
		}
		if same > 0 {
			fmt.Fprintf(&b, "  %s as received\n", report.Counted(int64(same), "record stands", "records stand"))
		}
	}
	fmt.Fprintf(&b, "\nCHECK CODE\n%s\n", indented("The last checkpoint of these records has the code below. Hold it against the one that the club pinned up when the trial was locked: who makes up a whole new trial can make it agree with itself, "+
		"but not with that code, and not with the anglers' receipts."))
	fmt.Fprintf(&b, "  %s\n\n%s\n", v.CheckCode, v.Conclusion())
	_, err := b.WriteTo(w)
	return err
}

// Conclusion is the verdict in a sentence.
func (v Verdict) Conclusion() string {
	differ, untold := 0, 0
	for _, f := range v.Findings {
		switch f.Outcome {
		case Disagrees:
			differ++
		case CannotTell:
			untold++
		}
	}
	if differ > 0 {
		return fmt.Sprintf("%s, so that the package is not what a trial left behind.", report.Counted(int64(differ), "thing does not agree", "things do not agree"))
	}
	if untold == 0 {
		return "Everything agrees."
	}
	return fmt.Sprintf("Everything that can be worked out agrees; %s.", report.Counted(int64(untold), "thing cannot be told", "things cannot be told"))
}

// receiptsTold is up to how many receipts each is told.
const receiptsTold = 10

// asReceived reports whether the record stands as it was received, and is proven where it could be.
func (o OwnFish) asReceived() bool { return o.Text == textAsReceived && (o.Proven == nil || *o.Proven) }

// String says in a line what became of the record.
func (o OwnFish) String() string {
	line := o.Receipt[:min(len(o.Receipt), fewestDigits)] + ": "
	if o.Found && o.Angler != "" {
		line += fmt.Sprintf("%s, entry %d of %s, ", o.Kind, o.Entry, o.Angler)
	} else if o.Found {
		line += fmt.Sprintf("%s, entry %d of the organiser's chain, ", o.Kind, o.Entry)
	}
	line += o.Text
	switch {
	case o.Proven == nil:
	case *o.Proven:
		line += "; your private part proves that it is yours"
	default:
		line += "; your private part is not the one that was entered"
	}
	return line
}

// indented breaks a text into lines with two blanks before each.
func indented(text string) string { return "  " + strings.ReplaceAll(wrapped(text), "\n", "\n    ") }
