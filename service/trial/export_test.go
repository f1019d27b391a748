package trial

// FieldSettled returns what the table of fields says of one, empty when it does not name it.
func FieldSettled(field string) string {
	if r := ruleOf(field); r.why != notSettled {
		return r.why
	}
	return ""
}
