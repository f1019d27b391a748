package exchange

import (
	"evenrig/service/trial"
)

// packageTables are all tables of a package in the order in which they stand in the archive. The last is written for others and
// not read back.
func packageTables() []packageTable {
	outing := foreignKey{[]string{"outing"}, "outings", []string{"outing"}}
	period := foreignKey{[]string{"period"}, "periods", []string{"period"}}
	checkpoint := foreignKey{[]string{"checkpoint"}, "checkpoints", []string{"n"}}
	by := foreignKey{[]string{"angler"}, "anglers", []string{"angler"}}
	return []packageTable{
		factTable(),
		listTable(tableFacts{"flow", "the flow diagram in numbers, all anglers together", []string{"what"}, nil},
			flowColumns(), func(p *Package) *[]FlowCount { return &p.Flow }),
		listTable(tableFacts{"protocol_versions", "versions of the rule sheet; plan.json is the last as it may be published", []string{"version"}, nil},
			versionColumns(), func(p *Package) *[]Version { return &p.Versions }),
		listTable(tableFacts{"words", "words of draw night, in the order in which they enter the draw", []string{"n"}, nil},
			wordColumns(), func(p *Package) *[]Word { return &p.Words }),
		listTable(tableFacts{"anglers", "anglers who let their records be published, with what the draw was made with", []string{"angler"}, nil},
			anglerColumns(), func(p *Package) *[]Angler { return &p.Anglers }),
		listTable(tableFacts{"looks", "planned counts while the trial was open", []string{"n"}, []foreignKey{checkpoint}},
			lookColumns(), func(p *Package) *[]Look { return &p.Looks }),
		listTable(tableFacts{"questions", "questions of members, with the organiser's answers", []string{"n"}, nil},
			questionColumns(), func(p *Package) *[]Question { return &p.Questions }),
		listTable(tableFacts{"flies", "batches of flies", []string{"n"}, nil},
			flyColumns(), func(p *Package) *[]FlyPack { return &p.Flies }),
		listTable(tableFacts{"disputes", "records that were disputed before the trial was locked", []string{"n"}, nil},
			disputeColumns(), func(p *Package) *[]Dispute { return &p.Disputes }),
		listTable(tableFacts{"checkpoints", "fingerprints of all chains, each following from the one before", []string{"n"}, nil},
			checkpointColumns(), func(p *Package) *[]Checkpoint { return &p.Checkpoints }),
		listTable(tableFacts{"heads", "how far every chain had come, of the checkpoints of which that may be told", []string{"checkpoint", "place"}, []foreignKey{checkpoint}},
			headColumns(), func(p *Package) *[]Head { return &p.Heads }),
		rowsTable(tableFacts{"outings", "days of fishing, blank ones too", []string{"outing"}, []foreignKey{by}},
			outingColumns(), func(p *Package) *Rows[Outing] { return &p.Outings }),
		rowsTable(tableFacts{"units", "orders of blocks as they were handed out", []string{"unit"}, []foreignKey{by}},
			unitColumns(), func(p *Package) *Rows[Unit] { return &p.Units }),
		rowsTable(tableFacts{"periods", "halves of blocks: fishing in one arrangement until a swap", []string{"period"}, []foreignKey{by, outing, {[]string{"unit"}, "units", []string{"unit"}}}},
			periodColumns(), func(p *Package) *Rows[Period] { return &p.Periods }),
		rowsTable(tableFacts{"deviations", "reports of what was not as planned", []string{"deviation"}, []foreignKey{by, outing, period}},
			deviationColumns(), func(p *Package) *Rows[Deviation] { return &p.Deviations }),
		rowsTable(tableFacts{"catches", "fish, those too that are not analysed", []string{"catch"}, []foreignKey{by, outing, period}},
			fishColumns(), func(p *Package) *Rows[Fish] { return &p.Catches }),
		rowsTable(tableFacts{"amendments", "corrections, with what stood before and after", []string{"subject", "n"}, []foreignKey{by}},
			amendmentColumns(), func(p *Package) *Rows[Amendment] { return &p.Amendments }),
		rowsTable(tableFacts{"ledger", "hash chains of the records", []string{"chain", "n"}, []foreignKey{by}},
			entryColumns(), func(p *Package) *Rows[Entry] { return &p.Ledger }),
		occurrenceTable(),
	}
}

func factColumns() []column[Facts] {
	return []column[Facts]{
		key(idColumn("trial", "the trial's id", func(r *Facts) *trial.ID { return &r.Trial })),
		wholeColumn("edition", "number of this package among those made of the trial; after records were erased another one follows", "", func(r *Facts) *int { return &r.Edition }),
		needed(textColumn("title", "title of the rule sheet", func(r *Facts) *string { return &r.Title })),
		textColumn("question", "the question", func(r *Facts) *string { return &r.Question }),
		textColumn("club", "the club, empty where it is not named", func(r *Facts) *string { return &r.Club }),
		needed(wordColumn("design", "how the two patterns were compared", func(r *Facts) *trial.Design { return &r.Design }, trial.Paired, trial.PairedByOuting)),
		needed(wordColumn("source", "drawn and logged in the service, or recorded: an imported table", func(r *Facts) *trial.Source { return &r.Source }, trial.Drawn, trial.Recorded)),
		needed(wordColumn("stopping", "when the result was to be counted", func(r *Facts) *trial.Stopping { return &r.Stopping }, trial.FixedSize, trial.GroupSequential, trial.Anytime)),
		needed(textColumn("test", "code of the test pattern, the changed fly", func(r *Facts) *string { return &r.Test })),
		needed(textColumn("control", "code of the control pattern, the usual fly", func(r *Facts) *string { return &r.Control })),
		wholeColumn("scheme", "number of the derivation of the draw, 0 without a draw", "", func(r *Facts) *int { return &r.Scheme }),
		digestColumn("commitment", "what was published of the draw at registration", func(r *Facts) *trial.Digest { return &r.Commitment }),
		digestColumn("seed", "seed of the draw, opened when the trial was locked", func(r *Facts) *trial.Digest { return &r.Seed }),
		needed(digestColumn("fingerprint", "SHA-256 of version 1 of the rule sheet with the names of its waters, which the commitment binds", func(r *Facts) *trial.Digest { return &r.Fingerprint })),
		wholeColumn("checkpoint", "the checkpoint on which the result was computed", "", func(r *Facts) *int64 { return &r.Checkpoint }),
		weekColumn("registered", "when the trial was registered", func(r *Facts) *string { return &r.Registered }),
		weekColumn("closed", "when fishing ended", func(r *Facts) *string { return &r.Closed }),
		weekColumn("locked", "when the records were fixed", func(r *Facts) *string { return &r.Locked }),
		idColumn("repeat_of", "the published trial that this one repeats", func(r *Facts) *trial.ID { return &r.RepeatOf }),
		truthColumn("names_taken", "names of people were taken out of the texts of plan.json", func(r *Facts) *bool { return &r.NamesTaken }),
		wholeColumn("enrolled", "anglers who joined, without those whose records were erased", "anglers", func(r *Facts) *int64 { return &r.Enrolled }),
		wholeColumn("withheld", "anglers whose rows are left out", "anglers", func(r *Facts) *int64 { return &r.Withheld }),
		wholeColumn("erased_anglers", "anglers whose records were erased on their wish", "anglers", func(r *Facts) *int64 { return &r.ErasedAnglers }),
		wholeColumn("erased_fish", "fish erased with them", "fish", func(r *Facts) *int64 { return &r.ErasedFish }),
		needed(wordColumn("licence", "SPDX identifier of the licence", func(r *Facts) *string { return &r.Licence }, CCBY4, CC0)),
		textColumn("program_version", "version of the program that wrote the package", func(r *Facts) *string { return &r.ProgramVersion }),
	}
}

func flowColumns() []column[FlowCount] {
	return []column[FlowCount]{
		key(textColumn("what", "what was counted", func(r *FlowCount) *string { return &r.What })),
		wholeColumn("n", "how many", "", func(r *FlowCount) *int64 { return &r.N }),
	}
}

func versionColumns() []column[Version] {
	return []column[Version]{
		key(wholeColumn("version", "number of the version, from 1", "", func(r *Version) *int { return &r.N })),
		weekColumn("week", "when it came into force", func(r *Version) *string { return &r.Week }),
		needed(digestColumn("fingerprint", "SHA-256 of the version with the names of its waters", func(r *Version) *trial.Digest { return &r.Fingerprint })),
		needed(digestColumn("plan", "SHA-256 of the version as it may be published; of the last one, of plan.json", func(r *Version) *trial.Digest { return &r.Plan })),
		listColumn("fields", "what it changed", func(r *Version) *[]string { return &r.Fields }),
		textColumn("reason", "why", func(r *Version) *string { return &r.Reason }),
	}
}

func wordColumns() []column[Word] {
	return []column[Word]{
		key(wholeColumn("n", "place of the word, from 1", "", func(r *Word) *int { return &r.N })),
		textColumn("word", "the word; empty where it names somebody or a water", func(r *Word) *string { return &r.Word }),
	}
}

func anglerColumns() []column[Angler] {
	return []column[Angler]{
		key(pseudonymColumn(func(r *Angler) *string { return &r.Pseudonym })),
		needed(wordColumn("consent", "what the angler agreed to; others have no rows", func(r *Angler) *string { return &r.Consent }, consentOpen)),
		idColumn("enrolment", "id that the angler's part of the draw was made with", func(r *Angler) *trial.ID { return &r.Enrolment }),
		digestColumn("code", "the angler's own 32 bytes of the draw's randomness", func(r *Angler) *[32]byte { return &r.Code }),
		truthColumn("left", "left the trial and let the records stay", func(r *Angler) *bool { return &r.Left }),
	}
}

// consentOpen is the consent of everybody who has rows.
const consentOpen = "publish_open"

func lookColumns() []column[Look] {
	return []column[Look]{
		key(wholeColumn("n", "number of the look, from 1", "", func(r *Look) *int { return &r.N })),
		wholeColumn("checkpoint", "the checkpoint on which it was made", "", func(r *Look) *int64 { return &r.Checkpoint }),
		weekColumn("week", "when it was made", func(r *Look) *string { return &r.Week }),
		wholeColumn("fish", "analysed fish in finished blocks", "fish", func(r *Look) *int64 { return &r.Fish }),
		wholeColumn("anglers", "anglers who caught them", "anglers", func(r *Look) *int64 { return &r.Anglers }),
		textColumn("decision", "what it said to do", func(r *Look) *trial.Decision { return &r.Decision }),
		truthColumn("withdrawn", "it counted an angler whose records were erased since; its numbers went with them", func(r *Look) *bool { return &r.Withdrawn }),
		numberColumn("information", "statistical information", "", func(r *Look) **float64 { return &r.Information }),
		numberColumn("fraction", "information as a fraction of what was planned", "", func(r *Look) **float64 { return &r.Fraction }),
		numberColumn("spent", "part of alpha spent so far", "", func(r *Look) **float64 { return &r.Spent }),
		numberColumn("boundary_p", "two-sided p at which the look would have stopped the trial", "", func(r *Look) **float64 { return &r.BoundaryP }),
		numberColumn("p", "two-sided p", "", func(r *Look) **float64 { return &r.P }),
		numberColumn("log_odds", "the pattern effect", "log odds", func(r *Look) **float64 { return &r.LogOdds }),
		numberColumn("e_value", "evidence against no difference", "", func(r *Look) **float64 { return &r.EValue }),
		numberColumn("share_low", "lower limit of the share", "share, 0 to 1", func(r *Look) **float64 { return &r.ShareLow }),
		numberColumn("share_high", "upper limit of the share", "share, 0 to 1", func(r *Look) **float64 { return &r.ShareHigh }),
	}
}

func questionColumns() []column[Question] {
	return []column[Question]{
		key(wholeColumn("n", "number of the question, from 1", "", func(r *Question) *int { return &r.N })),
		weekColumn("week", "when it was asked", func(r *Question) *string { return &r.Week }),
		textColumn("question", "the question; empty where it names somebody or a water", func(r *Question) *string { return &r.Question }),
		textColumn("answer", "the organiser's answer; empty where there is none or it names somebody or a water", func(r *Question) *string { return &r.Answer }),
	}
}

func flyColumns() []column[FlyPack] {
	return []column[FlyPack]{
		key(wholeColumn("n", "number of the row", "", func(r *FlyPack) *int { return &r.N })),
		textColumn("batch", "the batch", func(r *FlyPack) *string { return &r.Batch }),
		textColumn("hook", "hook and lot", func(r *FlyPack) *string { return &r.Hook }),
		textColumn("inspected", "who looked the batch over, in words of a role", func(r *FlyPack) *string { return &r.Inspected }),
		wholeColumn("issued", "flies handed out", "flies", func(r *FlyPack) *int64 { return &r.Issued }),
		wholeColumn("lost", "flies lost", "flies", func(r *FlyPack) *int64 { return &r.Lost }),
		wholeColumn("retied", "flies tied anew", "flies", func(r *FlyPack) *int64 { return &r.Retied }),
	}
}

func disputeColumns() []column[Dispute] {
	return []column[Dispute]{
		key(wholeColumn("n", "number of the row", "", func(r *Dispute) *int { return &r.N })),
		needed(wordColumn("kind", "what was disputed", func(r *Dispute) *string { return &r.Kind }, trial.LedgerCatch, trial.LedgerOuting)),
		key(idColumn("subject", "the record", func(r *Dispute) *trial.ID { return &r.Subject })),
		needed(wordColumn("outcome", "what two other members found", func(r *Dispute) *string { return &r.Outcome }, trial.Keep, trial.Exclude, trial.Disagreed, trial.Undecided)),
		listColumn("reasons", "theirs; left out where they name somebody or a water", func(r *Dispute) *[]string { return &r.Reasons }),
	}
}

func checkpointColumns() []column[Checkpoint] {
	return []column[Checkpoint]{
		key(wholeColumn("n", "number of the checkpoint, from 1", "", func(r *Checkpoint) *int64 { return &r.N })),
		weekColumn("week", "when it was made; empty where fewer than three anglers fished in that week", func(r *Checkpoint) *string { return &r.Week }),
		needed(digestColumn("root", "root of the Merkle tree over the heads of all chains (RFC 9162, section 2.1)", func(r *Checkpoint) *trial.Digest { return &r.Root })),
		needed(digestColumn("hash", "SHA-256 of the hash before and the root", func(r *Checkpoint) *trial.Digest { return &r.Hash })),
	}
}

func headColumns() []column[Head] {
	return []column[Head]{
		wholeColumn("checkpoint", "number of the checkpoint", "", func(r *Head) *int64 { return &r.Checkpoint }),
		wholeColumn("place", "place in the tree, from 1", "", func(r *Head) *int { return &r.Place }),
		idColumn("chain", "the chain; empty where its entries are left out", func(r *Head) *trial.ID { return &r.Chain }),
		wholeColumn("n", "its number of entries then; 0 where they are left out", "entries", func(r *Head) *int64 { return &r.N }),
		needed(digestColumn("leaf", "hash of the leaf: of a zero byte, the chain's 16 bytes, n in 8 bytes and the hash of its last entry", func(r *Head) *trial.Digest { return &r.Leaf })),
	}
}

func outingColumns() []column[Outing] {
	return []column[Outing]{
		needed(pseudonymColumn(func(r *Outing) *string { return &r.Angler })),
		key(idColumn("outing", "the outing's id, without the time in it", func(r *Outing) *trial.ID { return &r.ID })),
		wholeColumn("protocol_version", "version of the rule sheet that the phone carried", "", func(r *Outing) *int { return &r.Version }),
		weekColumn("week", "when it began", func(r *Outing) *string { return &r.Week }),
		patternColumn("cell", "cell of the protocol's grid, its south-west corner in degrees", `[0-9]{1,2}(\.[0-9]{1,2})?[NS] [0-9]{1,3}(\.[0-9]{1,2})?[EW]`, func(r *Outing) *string { return &r.Cell }),
		truthColumn("started_late", "opened after fishing had begun", func(r *Outing) *bool { return &r.StartedLate }),
		measureColumn("water_temperature", "temperature of the water at its start", func(r *Outing) **trial.Measure { return &r.Temperature }),
		textColumn("end_reason", "why it ended; empty while it has not", func(r *Outing) *string { return &r.End }),
		wholeColumn("not_logged", "fish that the angler says were not logged", "fish", func(r *Outing) *int { return &r.NotLogged }),
		truthColumn("void", "opened by mistake", func(r *Outing) *bool { return &r.Void }),
		truthColumn("disputed", "left out after a dispute", func(r *Outing) *bool { return &r.Disputed }),
		withheldColumn(func(r *Outing) *[]string { return &r.Withheld }),
	}
}

func withheldColumn[T any](at func(*T) *[]string) column[T] {
	return listColumn("withheld", "columns that are empty because fewer than three anglers share what stood there", at)
}

func arrangementColumn[T any](name, meaning string, at func(*T) *trial.Arrangement) column[T] {
	return wordColumn(name, meaning, at, trial.TestLower, trial.ControlLower)
}

func unitColumns() []column[Unit] {
	return []column[Unit]{
		needed(pseudonymColumn(func(r *Unit) *string { return &r.Angler })),
		key(idColumn("unit", "the unit's id, without the time in it", func(r *Unit) *trial.ID { return &r.ID })),
		wholeColumn("n", "number of the angler's block, from 1", "", func(r *Unit) *int { return &r.N }),
		wholeColumn("draw_n", "its number in the draw, from 1; 0 where the service did not draw it", "", func(r *Unit) *int { return &r.DrawN }),
		needed(arrangementColumn("first", "arrangement of the first half; the second has the flies changed over", func(r *Unit) *trial.Arrangement { return &r.First })),
		needed(wordColumn("drawn_by", "service, phone (a coin when the carried ones had run out), slip (sealed paper), coin (written down before the first cast)", func(r *Unit) *trial.DrawnBy { return &r.DrawnBy }, trial.ByService, trial.ByPhone, trial.BySlip, trial.ByCoin)),
		wholeColumn("slip", "number of the paper slip, 0 for none", "", func(r *Unit) *int { return &r.Slip }),
		truthColumn("same_fly_check", "fished with two control flies", func(r *Unit) *bool { return &r.SameFlyCheck }),
		weekColumn("fetched", "when it was handed out", func(r *Unit) *string { return &r.Fetched }),
		weekColumn("opened", "when its first half began; empty while it has not", func(r *Unit) *string { return &r.Opened }),
		weekColumn("fished", "when its last half ended; empty while it has not", func(r *Unit) *string { return &r.Fished }),
		truthColumn("lost", "lost with a phone or a slip; never dealt again", func(r *Unit) *bool { return &r.Lost }),
		withheldColumn(func(r *Unit) *[]string { return &r.Withheld }),
	}
}

func periodColumns() []column[Period] {
	return []column[Period]{
		needed(pseudonymColumn(func(r *Period) *string { return &r.Angler })),
		key(idColumn("period", "the period's id, without the time in it", func(r *Period) *trial.ID { return &r.ID })),
		idColumn("outing", "its outing; empty where an imported table does not tell", func(r *Period) *trial.ID { return &r.Outing }),
		idColumn("unit", "the unit of its block; empty without a draw", func(r *Period) *trial.ID { return &r.Unit }),
		textColumn("block", "label of its block, unique within the angler", func(r *Period) *string { return &r.Block }),
		textColumn("number", "number of the period in its block, as given", func(r *Period) *string { return &r.Number }),
		wholeColumn("half", "1 or 2, 0 where it cannot be told", "", func(r *Period) *int { return &r.Half }),
		arrangementColumn("drawn", "arrangement that chance gave", func(r *Period) *trial.Arrangement { return &r.Drawn }),
		arrangementColumn("fished", "arrangement on the line", func(r *Period) *trial.Arrangement { return &r.Fished }),
		truthColumn("confirmed", "the angler said that it was rigged so", func(r *Period) *bool { return &r.Confirmed }),
		weekColumn("week", "when it began", func(r *Period) *string { return &r.Week }),
		textColumn("end_reason", "why it ended; empty while it has not", func(r *Period) *string { return &r.End }),
		truthColumn("finished", "both halves of its block ended by the rule", func(r *Period) *bool { return &r.Finished }),
		wholeColumn("test_fly", "number of the fly of the test pattern, 0 where it is not known", "", func(r *Period) *int { return &r.TestFly }),
		wholeColumn("control_fly", "number of the fly of the control pattern, 0 where it is not known", "", func(r *Period) *int { return &r.ControlFly }),
		wholeColumn("amendments", "number of corrections", "", func(r *Period) *int { return &r.Amendments }),
		withheldColumn(func(r *Period) *[]string { return &r.Withheld }),
	}
}

func deviationColumns() []column[Deviation] {
	return []column[Deviation]{
		needed(pseudonymColumn(func(r *Deviation) *string { return &r.Angler })),
		key(idColumn("deviation", "the report's id, without the time in it", func(r *Deviation) *trial.ID { return &r.ID })),
		idColumn("outing", "its outing", func(r *Deviation) *trial.ID { return &r.Outing }),
		idColumn("period", "its period; empty for what concerns the outing", func(r *Deviation) *trial.ID { return &r.Period }),
		needed(textColumn("kind", "what was not as planned", func(r *Deviation) *trial.DeviationKind { return &r.Kind })),
		wholeColumn("fly", "number of the fly that took a lost one's place, 0 for none", "", func(r *Deviation) *int { return &r.Fly }),
		weekColumn("week", "from when on", func(r *Deviation) *string { return &r.Week }),
		withheldColumn(func(r *Deviation) *[]string { return &r.Withheld }),
	}
}

func fishColumns() []column[Fish] {
	return []column[Fish]{
		needed(pseudonymColumn(func(r *Fish) *string { return &r.Angler })),
		key(idColumn("catch", "the fish's id, without the time in it", func(r *Fish) *trial.ID { return &r.ID })),
		idColumn("outing", "its outing; empty where an imported table does not tell", func(r *Fish) *trial.ID { return &r.Outing }),
		needed(idColumn("period", "its period", func(r *Fish) *trial.ID { return &r.Period })),
		textColumn("taken_pattern", "pattern taken as given: a code, unknown, other, or empty where only the position was given", func(r *Fish) *string { return &r.TakenPattern }),
		wordColumn("taken_position", "position taken as given, or empty where only the pattern was", func(r *Fish) *trial.Position { return &r.TakenPosition }, trial.Lower, trial.Upper, trial.UnknownPosition, trial.OtherPosition),
		needed(wordColumn("outcome", "how its visit ended", func(r *Fish) *trial.Outcome { return &r.Outcome }, trial.Landed, trial.Lost, trial.Touched)),
		truthColumn("foul_hooked", "hooked elsewhere than in the mouth", func(r *Fish) *bool { return &r.FoulHooked }),
		truthColumn("rig_intact", "both flies were on the line as planned", func(r *Fish) *bool { return &r.RigIntact }),
		idColumn("double", "shared by the fish of one double", func(r *Fish) *trial.ID { return &r.Double }),
		textColumn("species", "scientific name, other, or unknown", func(r *Fish) *string { return &r.Species }),
		needed(wordColumn("origin", "where it grew up", func(r *Fish) *trial.Origin { return &r.Origin }, trial.Wild, trial.Stocked, trial.UnknownOrigin)),
		maybeWholeColumn("length_cm", "length, rounded down", "cm", func(r *Fish) **int { return &r.LengthCM }),
		weekColumn("week", "when it was caught", func(r *Fish) *string { return &r.Week }),
		textColumn("welfare", "bleeding, dead, deep_hooked, joined by +", func(r *Fish) *string { return &r.Welfare }),
		truthColumn("void", "taken back by its angler", func(r *Fish) *bool { return &r.Void }),
		truthColumn("after_lock", "arrived after the records were fixed", func(r *Fish) *bool { return &r.AfterLock }),
		truthColumn("disputed", "left out after a dispute", func(r *Fish) *bool { return &r.Disputed }),
		wholeColumn("amendments", "number of corrections", "", func(r *Fish) *int { return &r.Amendments }),
		withheldColumn(func(r *Fish) *[]string { return &r.Withheld }),
		arrangementColumn("arrangement", "arrangement on the line when it was caught", func(r *Fish) *trial.Arrangement { return &r.Arrangement }),
		needed(wordColumn("taken", "what it took, as far as it follows", func(r *Fish) *trial.Taken { return &r.Taken }, trial.TookTest, trial.TookControl, trial.TookUnknown, trial.TookOther)),
		wordColumn("exclusion", "why it is not analysed; empty for a fish that is", func(r *Fish) *trial.Exclusion { return &r.Exclusion }, trial.Exclusions()...),
		truthColumn("late", "noted down later than the rule sheet allows", func(r *Fish) *bool { return &r.Late }),
		truthColumn("deviated", "caught while something was reported as not as planned", func(r *Fish) *bool { return &r.Deviated }),
		truthColumn("disputed_only", "nothing but the dispute leaves it out", func(r *Fish) *bool { return &r.DisputedOnly }),
		textColumn("water_type", "kind of water", func(r *Fish) *string { return &r.WaterType }),
		textColumn("fly", "which dressing carried the change", func(r *Fish) *string { return &r.Fly }),
		textColumn("columns", "further columns that the rule sheet's subgroups name, as a JSON object", func(r *Fish) *string { return &r.Columns }),
	}
}

func amendmentColumns() []column[Amendment] {
	return []column[Amendment]{
		needed(pseudonymColumn(func(r *Amendment) *string { return &r.Angler })),
		needed(idColumn("subject", "the record that was corrected", func(r *Amendment) *trial.ID { return &r.Subject })),
		wholeColumn("n", "number of the correction of that record, from 1", "", func(r *Amendment) *int { return &r.N }),
		needed(textColumn("kind", "what sort of record", func(r *Amendment) *string { return &r.Kind })),
		textColumn("by", "who corrected it, as a role", func(r *Amendment) *string { return &r.By }),
		textColumn("reason", "why; empty where it names somebody or a water", func(r *Amendment) *string { return &r.Reason }),
		textColumn("old", "what stood before, as a JSON object; empty where it is withheld", func(r *Amendment) *string { return &r.Old }),
		textColumn("new", "what stands since, as a JSON object", func(r *Amendment) *string { return &r.New }),
		withheldColumn(func(r *Amendment) *[]string { return &r.Withheld }),
	}
}

func entryColumns() []column[Entry] {
	return []column[Entry]{
		pseudonymColumn(func(r *Entry) *string { return &r.Angler }),
		needed(idColumn("chain", "the chain: an angler's, or the trial's own, which is the organiser's", func(r *Entry) *trial.ID { return &r.Chain })),
		wholeColumn("n", "place in the chain, from 1", "", func(r *Entry) *int64 { return &r.N }),
		needed(textColumn("kind", "what was recorded", func(r *Entry) *string { return &r.Kind })),
		needed(idColumn("subject", "the record", func(r *Entry) *trial.ID { return &r.Subject })),
		needed(digestColumn("public_digest", "SHA-256 of salt and public part", func(r *Entry) *trial.Digest { return &r.PublicDigest })),
		needed(digestColumn("private_digest", "SHA-256 of another salt and the private part, neither of them published", func(r *Entry) *trial.Digest { return &r.PrivateDigest })),
		needed(digestColumn("hash", "SHA-256 of the canonical JSON (RFC 8785) of chain, kind, n, previous, private_digest, public_digest, subject and trial", func(r *Entry) *trial.Digest { return &r.Hash })),
		digestColumn("salt", "of the public part; empty where that is left out", func(r *Entry) *trial.Digest { return &r.Salt }),
		textColumn("public", "the public part as canonical JSON; empty where it is left out", func(r *Entry) *string { return &r.Public }),
	}
}
