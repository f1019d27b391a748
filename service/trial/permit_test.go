package trial_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

// Who may do what in a club. The organiser runs the trial; anglers and organisers who fish join and keep their own
// records; the auditor reads, masked, and writes nothing; every member reads the club, its trials, progress and results.
// Who was a member may still send, read and erase his own records, and nothing else. Slips are printed by whoever does not fish
// the trial, and every member reads who printed them.
const permissions = `
read_club        organiser angler auditor
invite_members   organiser
remove_members   organiser
reset_members    organiser
give_role        organiser
take_role        angler auditor
read_events      organiser auditor
read_trial       organiser angler auditor
write_protocol   organiser
amend_protocol   organiser
override_welfare organiser
file_dispute     organiser angler auditor
decide_dispute   organiser angler auditor
read_disputes    organiser angler auditor
move_trial       organiser
enrol            organiser angler
read_enrolments  organiser
read_progress    organiser angler auditor
keep_own_records organiser angler former
note_for_others  organiser angler
bring_guest      organiser angler
withdraw_guest   organiser
import_table     organiser
export_catches   organiser auditor
print_slips      organiser angler auditor
read_slips       organiser angler auditor
read_cards       organiser auditor
keep_flies       organiser
read_flies       organiser auditor
read_own_flies   organiser angler auditor
inspect_flies    organiser angler auditor
request_analysis organiser
read_analysis    organiser angler auditor
give_word        organiser angler auditor
close_draw_night organiser
read_draw        organiser auditor
publish_trial    organiser
read_package     organiser
confirm_guardian organiser
read_masked_log  organiser angler auditor
ask_question     organiser angler auditor
answer_question  organiser
`

func TestPermissions(t *testing.T) {
	want := map[trial.Operation]map[trial.Role]bool{}
	for line := range strings.Lines(strings.TrimSpace(permissions)) {
		words := strings.Fields(line)
		want[trial.Operation(words[0])] = map[trial.Role]bool{}
		for _, role := range words[1:] {
			want[trial.Operation(words[0])][trial.Role(role)] = true
		}
	}
	roles := []trial.Role{trial.Organiser, trial.Angler, trial.Auditor, trial.Former, "", "admin", "Organiser"}
	var printed strings.Builder
	for _, op := range trial.Operations() {
		fmt.Fprintf(&printed, "%-17s", op)
		if want[op] == nil {
			t.Errorf("%s stands in no row of the table above", op)
		}
		for _, role := range roles {
			err := trial.Permit(op, role)
			if (err == nil) != want[op][role] {
				t.Errorf("%s, %q: %v", op, role, err)
			}
			if err != nil {
				wantKind(t, err, trial.Forbidden, "forbidden")
			} else {
				fmt.Fprintf(&printed, "%s ", role)
			}
		}
		printed.WriteString("\n")
	}
	t.Logf("who may do what:\n%s", &printed)
	if got := len(trial.Operations()); got != len(want) {
		t.Errorf("%d operations, %d rows", got, len(want))
	}
	wantKind(t, trial.Permit("no_such_operation", trial.Organiser), trial.Forbidden, "forbidden")
}

// Organisers and auditors are invited one by one; an invitation lives 14 days.
func TestInvitations(t *testing.T) {
	for _, c := range []struct {
		role trial.Role
		uses int
		name string
		want []string
	}{
		{trial.Organiser, 1, "", nil},
		{trial.Organiser, 1, "Merle Hatch", nil},
		{trial.Auditor, 1, "", nil},
		{trial.Angler, 1, "Merle Hatch", nil},
		{trial.Angler, 200, "", nil},
		{trial.Angler, 201, "", []string{"uses"}},
		{trial.Angler, 0, "", []string{"uses"}},
		{trial.Angler, 2, "Merle Hatch", []string{"uses"}},
		{trial.Angler, 1, strings.Repeat("a", 81), []string{"name"}},
		{trial.Organiser, 2, "", []string{"uses"}},
		{trial.Auditor, 2, "", []string{"uses"}},
		{trial.Former, 1, "", []string{"role"}},
		{"admin", 1, "", []string{"role"}},
		{"", 0, "", []string{"role", "uses"}},
	} {
		wantFaults(t, trial.CheckInvitation(c.role, c.uses, c.name), c.want...)
	}
	made := trial.Invitation{Uses: 2, CreatedAt: noon, ExpiresAt: noon.Add(trial.InvitationLife)}
	if trial.InvitationLife != 14*24*time.Hour {
		t.Errorf("an invitation lives %s, want 14 days", trial.InvitationLife)
	}
	if err := made.Usable(noon.Add(trial.InvitationLife - 1)); err != nil {
		t.Errorf("in its last moment: %v", err)
	}
	if trial.KindOf(made.Usable(noon.Add(trial.InvitationLife))) != trial.NotFound {
		t.Error("accepted after it expired")
	}
	used, revoked := made, made
	used.Used = 2
	revoked.RevokedAt = ptr(noon)
	if trial.KindOf(used.Usable(noon)) != trial.NotFound || trial.KindOf(revoked.Usable(noon)) != trial.NotFound {
		t.Error("accepted though used up or revoked")
	}
}

func TestNamesAndReasons(t *testing.T) {
	for _, good := range []string{"Ada", "Å", strings.Repeat("ü", 80)} {
		wantFaults(t, trial.CheckName("name", good))
	}
	for _, bad := range []string{"", strings.Repeat("a", 81), "a\x00b", "a\x7f", "\xc3\x28"} {
		wantFaults(t, trial.CheckName("name", bad), "name")
	}
	for _, good := range []string{"oak", strings.Repeat("ü", 500), "wrong fly tapped\nsorry"} {
		wantFaults(t, trial.CheckReason(good))
	}
	for _, bad := range []string{"", "no", strings.Repeat("ü", 501), "slip\x00"} {
		wantFaults(t, trial.CheckReason(bad), "reason")
	}
	if err := trial.CheckVersion("catch", 3, 3); err != nil {
		t.Error(err)
	}
	wantKind(t, trial.CheckVersion("catch", 2, 3), trial.Stale, "version.stale")
	wantKind(t, trial.CheckVersion("catch", 4, 3), trial.Stale, "version.stale")
}
