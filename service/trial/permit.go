package trial

import "slices"

// Operation is something a member of a club may do. The table below is the only place that says who.
type Operation string

// The operations that ask for a role in the club that owns the object.
const (
	ReadClub        Operation = "read_club"
	InviteMembers   Operation = "invite_members"
	RemoveMembers   Operation = "remove_members"
	ResetMembers    Operation = "reset_members"
	GiveRole        Operation = "give_role"
	TakeRole        Operation = "take_role"
	ReadEvents      Operation = "read_events"
	ReadTrial       Operation = "read_trial"
	WriteProtocol   Operation = "write_protocol"
	AmendProtocol   Operation = "amend_protocol"
	OverrideWelfare Operation = "override_welfare"
	FileDispute     Operation = "file_dispute"
	DecideDispute   Operation = "decide_dispute"
	ReadDisputes    Operation = "read_disputes"
	MoveTrial       Operation = "move_trial"
	Enrol           Operation = "enrol"
	ReadEnrolments  Operation = "read_enrolments"
	ReadProgress    Operation = "read_progress"
	KeepOwnRecords  Operation = "keep_own_records"
	NoteForOthers   Operation = "note_for_others"
	BringGuest      Operation = "bring_guest"
	WithdrawGuest   Operation = "withdraw_guest"
	ImportTable     Operation = "import_table"
	ExportCatches   Operation = "export_catches"
	PrintSlips      Operation = "print_slips"
	ReadSlips       Operation = "read_slips"
	ReadCards       Operation = "read_cards"
	KeepFlies       Operation = "keep_flies"
	ReadFlies       Operation = "read_flies"
	ReadOwnFlies    Operation = "read_own_flies"
	InspectFlies    Operation = "inspect_flies"
	RequestAnalysis Operation = "request_analysis"
	ReadAnalysis    Operation = "read_analysis"
	GiveWord        Operation = "give_word"
	CloseDrawNight  Operation = "close_draw_night"
	ReadDraw        Operation = "read_draw"
	PublishTrial    Operation = "publish_trial"
	ReadPackage     Operation = "read_package"
	ConfirmGuardian Operation = "confirm_guardian"
	ReadMaskedLog   Operation = "read_masked_log"
	AskQuestion     Operation = "ask_question"
	AnswerQuestion  Operation = "answer_question"
)

var permits = map[Operation][]Role{
	ReadClub:        {Organiser, Angler, Auditor},
	InviteMembers:   {Organiser},
	RemoveMembers:   {Organiser},
	ResetMembers:    {Organiser},
	GiveRole:        {Organiser},
	TakeRole:        {Angler, Auditor},
	ReadEvents:      {Organiser, Auditor},
	ReadTrial:       {Organiser, Angler, Auditor},
	WriteProtocol:   {Organiser},
	AmendProtocol:   {Organiser},
	OverrideWelfare: {Organiser},
	FileDispute:     {Organiser, Angler, Auditor},
	DecideDispute:   {Organiser, Angler, Auditor},
	ReadDisputes:    {Organiser, Angler, Auditor},
	MoveTrial:       {Organiser},
	Enrol:           {Organiser, Angler},
	ReadEnrolments:  {Organiser},
	ReadProgress:    {Organiser, Angler, Auditor},
	KeepOwnRecords:  {Organiser, Angler, Former},
	NoteForOthers:   {Organiser, Angler},
	BringGuest:      {Organiser, Angler},
	WithdrawGuest:   {Organiser},
	ImportTable:     {Organiser},
	ExportCatches:   {Organiser, Auditor},
	PrintSlips:      {Organiser, Angler, Auditor},
	ReadSlips:       {Organiser, Angler, Auditor},
	ReadCards:       {Organiser, Auditor},
	KeepFlies:       {Organiser},
	ReadFlies:       {Organiser, Auditor},
	ReadOwnFlies:    {Organiser, Angler, Auditor},
	InspectFlies:    {Organiser, Angler, Auditor},
	RequestAnalysis: {Organiser},
	ReadAnalysis:    {Organiser, Angler, Auditor},
	GiveWord:        {Organiser, Angler, Auditor},
	CloseDrawNight:  {Organiser},
	ReadDraw:        {Organiser, Auditor},
	PublishTrial:    {Organiser},
	ReadPackage:     {Organiser},
	ConfirmGuardian: {Organiser},
	ReadMaskedLog:   {Organiser, Angler, Auditor},
	AskQuestion:     {Organiser, Angler, Auditor},
	AnswerQuestion:  {Organiser},
}

// Operations lists every operation, for tests that walk the table.
func Operations() []Operation {
	ops := make([]Operation, 0, len(permits))
	for op := range permits {
		ops = append(ops, op)
	}
	slices.Sort(ops)
	return ops
}

// Permit returns nil when a member with the given role may do op, else a Forbidden error. Who is no member at all is
// answered Missing by the caller: the object's existence is none of his business. Being a server's admin opens no
// club's records.
func Permit(op Operation, role Role) error {
	if slices.Contains(permits[op], role) {
		return nil
	}
	return Fail(Forbidden, "forbidden", "a club's %s may not do this; it takes: %s", role, joinRoles(permits[op]))
}

// PermitAdmin returns nil for a server's admin, who looks after the server's own work, else a Forbidden error.
func PermitAdmin(actor Actor) error {
	if actor.Admin {
		return nil
	}
	return Fail(Forbidden, "forbidden", "this takes a server's admin")
}

func joinRoles(roles []Role) string {
	text := ""
	for i, r := range roles {
		if i > 0 {
			text += " or "
		}
		text += string(r)
	}
	return text
}
