package timeline

import (
	"maps"
	"slices"
)

// Rhythm is the last rhythm called.
type Rhythm string

// Rhythms, and what they mean for the arrest algorithm.
const (
	Unknown   Rhythm = ""
	VF        Rhythm = "VF"
	VT        Rhythm = "VT"
	PEA       Rhythm = "PEA"
	Asystole  Rhythm = "asystole"
	Organised Rhythm = "organised"
	Torsades  Rhythm = "torsades"
	SVT       Rhythm = "SVT"
	AF        Rhythm = "AF"
	Flutter   Rhythm = "flutter"
	Brady     Rhythm = "bradycardia"
)

// Kind is the callout that names the rhythm; empty for Unknown.
func (r Rhythm) Kind() Kind { return kinds.rhythms[r] }

// Shockable reports whether, without a pulse, a shock is the treatment.
func (r Rhythm) Shockable() bool { return r.Kind().Row().Shockable }

// Fast reports whether, with a pulse, the rhythm is a tachycardia.
func (r Rhythm) Fast() bool { return r.Kind().Row().Fast }

// Pulseless reports whether the rhythm has no pulse.
func (r Rhythm) Pulseless() bool { return r.Kind().Row().Pulseless }

// Dose is one drug given.
type Dose struct {
	At    Time    // one from before the case lies before its start, and may be below 0
	Mg    float64 // 0 if no amount was called
	Seq   uint64
	early Time // how long before the case
	again Time // when it was told once more last; 0: it was not
	pulse bool // it was given to a patient with a pulse
	// Before: given before arrival, as the crew says that hands over. Untimed: and nobody
	// said when; At is then the start of the case, the latest that it can have been.
	Before, Untimed bool
}

// Shock is one defibrillation or cardioversion.
type Shock struct {
	At     Time
	Joules float64 // 0 if no energy was called
	Synced bool
	// Stacked: called as one of several in a row, without compressions between.
	Stacked bool
	Seq     uint64
	Rhythm  Rhythm // in which it was given
}

// Never is the zero of moments that have not happened.
const Never Time = -1

// State is where the code stands: what Fold makes of the events.
//
// A cycle begins with the first compressions, or with those that follow the
// end of the cycle before; a rhythm check, a rhythm called while hands are off,
// a shock, a pulse or the end of the code ends it, a change of the compressor
// does not. A pause is a time without compressions in an arrest after the first
// compression: see HandsOff. A rhythm that is called near the end of a cycle while
// nobody called the pause ends it too, and the next begins with it.
type State struct {
	At               Time   // of the last event
	HeardAt          Time   // of the last callout
	Started, Ended   Time   // of the case; Never before they happen
	EndedBy          uint64 // number of the event that ended the case before this one; 0: none
	begun            begun
	ArrestAt         Time // when the pulse was lost or presumed lost; Never if it was not
	down             down
	presumed         bool // the arrest is only presumed: nothing but "start the code" was called
	Compressing      bool
	PulsePresent     bool // a pulse or return of circulation was called
	PulseAt          Time // when the present pulse was called; Never without one
	pausedBefore     Time // start of the pause in which it was called
	pulseTold        Time // when it was told, if later; see PulseAt
	PulselessAt      Time // when one was last looked for and not found; Never if not
	LostAt           Time // when a pulse that had come back was lost last; Never if not
	goneAt           Time // when a pulse that was called was gone last, however briefly it held; Never if none was
	FirstROSC        Time // of a pulse that was not taken back at once
	FirstCompression Time
	PausedFrom       Time // start of the present pause; Never while compressing
	CycleFrom        Time // start of the present cycle; Never outside one
	CheckedAt        Time // last rhythm check, or rhythm seen with hands off, or shock
	Rhythm           Rhythm
	RhythmAt         Time
	FirstRhythm      Rhythm // see firstRhythm
	FirstRhythmAt    Time
	NoShockAt        Time // the first rhythm of the arrest that no shock helps; Never if none
	seenSince        int  // rhythms called since then
	Shocks           []Shock
	ShocksBefore     int               // before arrival, as told last
	BeforeAt         Time              // when that was told; Never if it was not
	shocksTold       int               // as told last, whether or not it counts
	Given            map[string][]Dose // by drug
	Done             map[string]Time   // interventions
	Causes           map[string]string // considered, treated or excluded, by cause
	CauseAt          map[string]Time   // when that was called
	Who
	noted           noted
	held            heldWho
	secondAt        Time // when a second patient was called for while this one's case ran; Never if not
	PregnantAt      Time // when it was called; Never if not
	OpioidAt        Time // when it was called; Never if not
	Hypothermic     bool
	coldAt          Time   // when that was called last
	asked           string // the question that the last callout raised; empty: none
	answered        string // the one that the last callout, "confirmed", answers
	untakes         bool   // the last callout, an undo, comes right behind one that confirmed who lies there
	Unstable        bool
	ReviewedAt      Time // when the causes were last gone through; Never if not
	StabilityAt     Time // when stable or unstable was last called, of a patient with a pulse; Never if not
	Pending         Kind // asks for confirmation: code.end or death; empty if none
	PendingAt       Time
	Dead            bool
	MetronomeMuted  bool // switched off by callout
	mutedAt         Time // when
	MetronomeForced bool // switched on by callout, until the next pause
	synced          bool // a cardioversion was being prepared when the pulse was lost, and no shock was given since
	ClearAt         Time // last "everybody clear" that no shock followed; Never without one
	ChargingAt      Time // last "charging" that no shock followed; Never without one
	dumpedAt        Time // when a charge was called off last; Never if none was
	clearOver       bool // somebody touches the patient again all the same
	AirwayAt        Time // Never until the airway is secured, or once it is lost
	ecmoCalled      Time // when E C M O was called to run in an arrest, and nobody has confirmed it; Never if not
	ecmoAt          Time // since when it runs, confirmed; Never if it does not, or if hands went back on since
	airwayLost      bool // it was secured and lost again
	NoBreathingAt   Time // when breathing was called absent; Never if not, or if it is back
	BreathingAt     Time // when it was called back; Never if not
	noAccess        bool // it was lost, and nothing was given since
	came            bool // circulation was called back, though no arrest was called before
	RoundAt         Time // when the first-minute round was called for; Never if not
	Measured        map[string]Measured
	Beat            Beat
}

func newState() State {
	return State{
		At: Never, HeardAt: Never, Started: Never, Ended: Never, ArrestAt: Never, PulseAt: Never, pausedBefore: Never,
		pulseTold: Never, LostAt: Never, goneAt: Never, coldAt: Never, PulselessAt: Never,
		FirstROSC: Never, FirstCompression: Never, PausedFrom: Never, CycleFrom: Never, CheckedAt: Never,
		RhythmAt: Never, FirstRhythmAt: Never, NoShockAt: Never, PregnantAt: Never, OpioidAt: Never, ReviewedAt: Never,
		BeforeAt: Never, secondAt: Never, held: heldWho{at: Never}, begun: begun{end: Never}, down: down{told: Never},
		noted:         nothingNoted,
		NoBreathingAt: Never, BreathingAt: Never, ecmoAt: Never, ecmoCalled: Never,
		StabilityAt: Never, PendingAt: Never, ClearAt: Never, ChargingAt: Never, dumpedAt: Never,
		AirwayAt: Never, RoundAt: Never,
	}
}

// InArrest reports whether the patient has, or is presumed to have, no pulse.
func (s State) InArrest() bool {
	return s.ArrestAt != Never && s.Ended == Never && !s.PulsePresent
}

// Running reports whether there is a case that was begun and has not ended: an arrest, a
// call for help, or a patient who was called stable or unstable.
func (s State) Running() bool {
	return s.Ended == Never && (s.Started != Never || s.StabilityAt != Never)
}

// CodeAt is when the code's clock began: with the arrest or, in a case without
// one, with the case; Never before either.
func (s State) CodeAt() Time {
	if s.ArrestAt != Never {
		return s.ArrestAt
	}
	return s.Started
}

// BriefPulse is how long a pulse must hold to be a return of circulation.
func BriefPulse() Time { return rule("brief_pulse_s") }

// Look is how long a cycle has run at least when a look at the rhythm ends it.
func Look() Time { return rule("look_s") }

// HandsOff reports whether the arrest is in a pause: no pulse and nobody
// compresses, after the first compression and before E C M O runs.
func (s State) HandsOff() bool {
	return s.InArrest() && !s.Compressing && s.FirstCompression != Never && !s.OnECMO()
}

// Clear reports whether everybody was called clear, and neither has the shock
// been given nor does anybody touch the patient again.
func (s State) Clear() bool { return s.ClearAt != Never && !s.clearOver }

// Antiarrhythmics counts the doses given of either drug of the arrest.
func (s State) Antiarrhythmics() int { return len(s.Doses("amiodarone")) + len(s.Doses("lidocaine")) }

// Doses are the doses of a drug that count for the next one: in an arrest those
// given since it began.
func (s State) Doses(drug string) []Dose {
	given := s.Given[drug]
	for len(given) > 0 && !given[0].Before && given[0].At+given[0].early < s.ArrestAt {
		given = given[1:]
	}
	return given
}

// Total is how much of a drug was given, in mg, as far as it was called.
func (s State) Total(drug string) float64 {
	sum := 0.0
	for _, d := range s.Given[drug] {
		sum += d.Mg
	}
	return sum
}

// Repeats reports whether a shock or a dose that is called in the state is the one that
// was called a moment ago: it counts once.
func (s State) Repeats(e Event) bool {
	drug, given := e.Kind.Drug()
	if before := e.Kind.Before(); before != "" {
		return before != "shock" && s.sameBefore(before, e)
	}
	return s.sameShock(e) || given && s.sameDose(drug, e)
}

// Cardioversions are the synchronised shocks.
func (s State) Cardioversions() []Shock {
	return slices.DeleteFunc(slices.Clone(s.Shocks), func(x Shock) bool { return !x.Synced })
}

// Defibrillations are the shocks of the arrest that were not synchronised.
func (s State) Defibrillations() []Shock {
	return slices.DeleteFunc(slices.Clone(s.Shocks), func(x Shock) bool { return x.Synced || x.At < s.ArrestAt })
}

// pulseShocks counts the shocks that were not synchronised and were given before the pulse was lost: a
// polymorphic rhythm gets one. They are none of the arrest's.
func (s State) pulseShocks() (n int) {
	for _, x := range s.Shocks {
		if !x.Synced && x.At < s.ArrestAt {
			n++
		}
	}
	return n
}

// Metronome reports whether the compressor needs the beat at now: while
// compressing, before the first compression, after a shock (compressions resume
// at once: AHA 2020 Part 3), and whenever it was asked for. It is silent from
// "everybody clear" to the shock, whatever else was called; if hands go back on
// without one, not before the time that a shock takes.
func (s State) Metronome(now Time) bool {
	if s.MetronomeMuted || s.Silent(now) || s.Stacking(now) && !s.MetronomeForced {
		return false
	}
	shocked := len(s.Shocks) > 0 && s.PausedFrom != Never && s.Shocks[len(s.Shocks)-1].At >= s.PausedFrom
	if s.OnECMO() && !s.Compressing {
		return s.MetronomeForced
	}
	return s.MetronomeForced || s.InArrest() && !s.OfNewborn() && (s.Compressing || s.FirstCompression == Never || shocked)
}

// Stacking reports whether the last thing done was one of several shocks in a
// row, so lately that the next one may follow: nobody is told to touch the
// patient.
func (s State) Stacking(now Time) bool {
	return s.stack() > 0 && s.InArrest() && !s.Compressing && now < s.lastShock()+rule("clear_s")
}

// stack counts the shocks that were just given in a row.
func (s State) stack() int {
	n := 0
	for _, x := range slices.Backward(s.Shocks) {
		if !x.Stacked {
			break
		}
		n++
	}
	return n
}

// rowGoesOn reports whether another may follow the shocks that were just given in a row.
func (p *Protocol) rowGoesOn(s State) bool { return s.stack() < int(p.Get("stacked_shocks")) }

// Metronome reports whether the compressor needs the beat at now: see State.Metronome. Behind the last
// shock of a row hands go back on at once.
func (p *Protocol) Metronome(s State, now Time) bool {
	if s.Stacking(now) && !p.rowGoesOn(s) {
		s.forceBeat()
	}
	return s.Metronome(now)
}

// rows counts the defibrillations of the arrest, those in a row as one.
func (s State) rows() (n int) {
	stacked := false
	for _, x := range s.Defibrillations() {
		if !x.Stacked || !stacked {
			n++
		}
		stacked = x.Stacked
	}
	return n
}

// lastShock is when the last shock was given; Never before one.
func (s State) lastShock() Time {
	if n := len(s.Shocks); n > 0 {
		return s.Shocks[n-1].At
	}
	return Never
}

// ShockedSince reports whether a shock was given since then.
func (s State) ShockedSince(at Time) bool { return s.lastShock() != Never && s.lastShock() >= at }

// FreshFrom is when the present arrest began, or when the pulse was gone last in it, however briefly it held.
func (s State) FreshFrom() Time { return max(s.ArrestAt, s.goneAt) }

// Silent reports whether nothing may tell anybody to touch the patient at now:
// see Metronome.
func (s State) Silent(now Time) bool {
	return s.ClearAt != Never && (!s.clearOver || now < s.ClearAt+rule("clear_s"))
}

// with returns a copy of m in which k is v.
func with[V any](m map[string]V, k string, v V) map[string]V {
	out := maps.Clone(m)
	if out == nil {
		out = map[string]V{}
	}
	out[k] = v
	return out
}
