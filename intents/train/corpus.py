"""Sentences to be spoken by the speech engines: word salad for phone coverage,
clinical talk, callouts and near misses. Deterministic for a seed."""
import random
import re

ONES = "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()
TENS = "_ _ twenty thirty forty fifty sixty seventy eighty ninety".split()

# Talk heard in a resuscitation room that is no callout. Invented here.
TALK = """get the {drug} ready|draw up the {drug}|do we have {drug}|how much {drug} did we give|next dose of {drug} in a minute
he had {rhythm} last year|was that {rhythm} or artefact|could this be {rhythm}|looks a bit like {rhythm} to me
start the clock|has anyone called the family|who is on the airway|can you get a line in|is there a pulse
should we shock|we should check the pulse soon|do not stop yet|are you tired|swap in thirty seconds
where is the crash cart|bring the ultrasound|the blood gas is back|potassium is {num}|glucose was {num}
how old is the patient|{num} year old found down|weight is about {num} kilos|call the cath lab|move the bed please
keep going|good depth|push harder|let it recoil|slow down a little|that was {num} minutes ago|can i have suction
turn the monitor to me|the pads are on|charge it in ten seconds|wait for the analysis|stay off him for now
tell me when you are ready|give me {num} of {drug}|prepare {num} milligrams of {drug}|the line has blown|try the other arm
what did the daughter say|any allergies|the tube needs to come out|listen to the chest|the end tidal is {num}
please close the door|someone write this down|we need more hands|thank you everybody|one two three move""".replace("\n", "|").split("|")
DRUGS = "epinephrine epi adrenaline amiodarone lidocaine magnesium calcium bicarb atropine adenosine fentanyl ketamine propofol".split()
RHYTHMS = ["v fib", "v tach", "p e a", "asystole", "sinus rhythm", "a fib", "ventricular fibrillation", "ventricular tachycardia"]


def number(rng):
    k = rng.random()
    if k < .2:  # teens and tens: one sound and the stress apart
        n = rng.choice([rng.randrange(13, 20), 10 * rng.randrange(3, 10)])
    elif k < .4:
        n = rng.choice([100, 120, 150, 200, 300, 360, 50, 6, 12, 1, 2, 30, 15, 10])
    elif k < .65:
        n = rng.randrange(1, 400)
    else:
        n = rng.randrange(0, 100)
    if n < 20:
        words = ONES[n]
        if rng.random() < .15:
            words += " point " + ONES[rng.randrange(0, 10)]
        return words
    if n < 100:
        return TENS[n // 10] + (" " + ONES[n % 10] if n % 10 else "")
    words = ONES[n // 100] + " hundred"
    if n % 100:
        rest = n % 100
        words += rng.choice([" ", " and "]) + (ONES[rest] if rest < 20 else TENS[rest // 10] + (" " + ONES[rest % 10] if rest % 10 else ""))
    return words


def callouts(path):
    """[(id, [phrase])] of the vocabulary, in its order: the classes of the second opinion."""
    out = []
    for m in re.finditer(r"- id: (\S+)|phrases: \[(.*?)\]", open(path).read().split("callouts:")[1], re.S):
        if m[1]:
            out.append((m[1], []))
        else:
            out[-1][1].extend(p.strip().strip('"') for p in m[2].replace("\n", " ").split(","))
    return out


def renumber(path, classes):
    """Old class -> new class of the callouts in a callouts.tsv; -1: no longer one."""
    new = {c: k + 1 for k, (c, _) in enumerate(classes)}
    old = list(dict.fromkeys(l.split("\t")[0] for l in open(path)))
    return [0] + [new.get(c, -1) for c in old]


def words(path):
    """Word and weight, from the unigrams of an ARPA file (frequency flattened)."""
    out = []
    for line in open(path, errors="replace"):
        f = line.rstrip("\n").split("\t")
        if len(f) == 3 and re.fullmatch(r"[a-z]+(?:'[a-z]+)?", f[1]):
            out.append((10 ** (float(f[0]) * .55), f[1]))
        if line.startswith("\\2-grams"):
            break
    out.sort(reverse=True)
    return [w for _, w in out[:25000]], [p for p, _ in out[:25000]]


# What goes before or after a callout's words and makes them no callout; and what may go before one.
BEFORE = """get ready for|prepare for|should we call|do we have|did we say|not yet|we may need|is it|has the|are you sure of|can you get|do not
last time|before|waiting for|in case of|if|when|no|get the|draw up|do you want|how about|think about|ask for|after the|without|he had|the next|is there""".replace("\n", "|").split("|")
AFTER = """last year|in a minute|next time|soon|or not|yesterday|is ready|would be good|maybe|later|if needed|is in the drawer|ox reading|before that
for the family|next door|to the lab|and the table|again tomorrow|by then|patch|would help|is not ready|when we can|in ten seconds""".replace("\n", "|").split("|")
LEAD = "okay|alright|all right|right|team|and|now|so|everyone|everybody|okay team|yes|listen|okay everyone|hey|doctor|okay so|and now|then|good|great".split("|")
TRAIL = "please|thank you|thanks|now|everyone|everybody|team|again|guys|sir|doctor".split("|")  # what may follow one
# What denies a callout, in front of it or before its last word; what asks, orders or hopes.
NOT_BEFORE = """don't|do not|please don't|didn't|did not|we haven't|we have not|nobody has|no one has|not|never|we're not|we are not|there's no|it's not|it isn't|i don't think
that's not|wasn't|hasn't been|haven't had|who said|when do we say|why is the|have we had|have we|shall we|should i|could somebody|can we|do we need|if|once|unless
until|as soon as|let's not|we can't|you can't|i can't|cannot|hold off on|without|instead of|rather than|did anyone say|is that|are we|was it|were they""".replace("\n", "|").split("|")
NOT_INSIDE = """not|has not been|hasn't been|have not been|haven't been|is not|isn't|was not|wasn't|never|not yet|still not|hasn't really been|can't be|cannot be|won't be
will be|should be|is going to be|needs to be|has to be|would be|could be|must not be|hadn't been|aren't|weren't|is about to be""".replace("\n", "|").split("|")
LAST = {w for w in "given delivered started stopped placed confirmed on off done in secured ready treated felt resumed paused running working drawn checked charged cancelled closed".split()}
UNSURE = (-1,)  # instead of classes: whether a callout was said here is not taught


def near(rng, calls, known, bag):
    """A callout's phrase, spoilt."""
    while True:
        w, r = rng.choice(calls).split(), rng.random()
        if r < .2 and len(w) > 1:
            w = w[1:] if rng.random() < .5 else w[:-1]
        elif r < .5:
            other = rng.choice(calls).split() if rng.random() < .6 else bag(1)
            w[rng.randrange(len(w))] = rng.choice(other)
        elif r < .75:
            w = rng.choice(BEFORE).split() + w
        else:
            w = w + rng.choice(AFTER).split()
        if " ".join(w) not in known:
            return " ".join(w)


def denied(rng, calls, known):
    """A callout's phrase, denied, asked or hoped for: its words, and it was not meant."""
    while True:
        w = rng.choice(calls).split()
        if len(w) > 1 and w[-1] in LAST and rng.random() < .6:
            w[-1:-1] = rng.choice(NOT_INSIDE).split()
        else:
            w = rng.choice(NOT_BEFORE).split() + w
        if rng.random() < .2:
            w = [rng.choice(LEAD)] + w
        if rng.random() < .15:
            w += [rng.choice("yet please again now though right anymore".split())]
        if " ".join(w) not in known:
            return " ".join(w)


def sentences(n, seed, vocabulary, arpa):
    """(text, classes of the callouts in it) n times; class k is the k-th callout, from 1."""
    rng = random.Random(seed)
    classes, (vocab, weights) = callouts(vocabulary), words(arpa)
    calls = [p for _, ps in classes for p in ps]
    known = {p: k + 1 for k, (_, ps) in enumerate(classes) for p in ps}
    fill = lambda s: re.sub(r"\{[a-z_]+\}", lambda m: {"{drug}": rng.choice(DRUGS), "{rhythm}": rng.choice(RHYTHMS)}.get(m[0]) or number(rng), s)
    bag = lambda k: rng.choices(vocab, weights, k=k)

    def callout():
        p = rng.choice(calls) if rng.random() < .5 else rng.choice(rng.choice(classes)[1])
        lead = rng.choice(LEAD) + rng.choice([" ", ", "]) if rng.random() < .22 else ""
        return lead + fill(p), known[p]

    for _ in range(n):
        k = rng.random()
        if k < .16:
            s = bag(rng.randrange(4, 12))
            if rng.random() < .4:
                s.insert(rng.randrange(1, len(s)), ",")
            yield " ".join(s).replace(" ,", ","), ()
        elif k < .26:
            yield fill(rng.choice(TALK)), ()
        elif k < .31:
            yield fill(denied(rng, calls, known)), ()
        elif k < .41:
            yield fill(near(rng, calls, known, bag)), ()
        elif k < .47:
            yield number(rng) + ", " + number(rng) + " " + rng.choice(["joules", "milligrams", "kilos", "minutes", ""]), ()
        elif k < .54:  # a callout's words inside other speech
            yield " ".join(bag(rng.randrange(1, 4))) + " " + fill(rng.choice(calls)) + " " + " ".join(bag(rng.randrange(1, 4))), UNSURE
        elif k < .59:
            yield callout()[0] + rng.choice([" ", ", "]) + rng.choice(TRAIL), UNSURE
        elif k < .88:
            s, c = callout()
            yield s, (c,)
        else:
            (s, c), (t, d) = callout(), callout()
            yield s + ", " + t, (c, d)


# What stands around a callout in an ordinary sentence, and what makes one no callout.
OPEN = """okay|alright|right|okay team|alright everyone|and|so|now|folks|good|guys|okay so now|right then|well done|good work everyone
for the record|just so we all know|i can confirm|let me say it again|one more time|thank you|listen everybody|here we go|all together now""".replace("\n", "|").split("|")
CLOSE = "please|everyone|thank you|now please|folks|okay|team|again|right now|good job|let's keep going|well done all|for the log|over to you|nice work".split("|")
DENIED = """we have not had|nobody has said|there was no|never mind the|not a|who said|who called|did you hear|when was|if there is|we are not ready for
tell me before|wait until|let's hope for|what comes after|how long since|should it be|has anybody|they wanted|i thought it was not""".replace("\n", "|").split("|")


def ordinary(n, seed, vocabulary):
    """(text, classes of the callouts that are meant in it) n times: ordinary sentences at a resuscitation, to fit the judge on."""
    rng, classes = random.Random(seed), callouts(vocabulary)
    known = {p: k + 1 for k, (_, ps) in enumerate(classes) for p in ps}
    fill = lambda s: re.sub(r"\{[a-z_]+\}", lambda m: {"{drug}": rng.choice(DRUGS), "{rhythm}": rng.choice(RHYTHMS)}.get(m[0]) or number(rng), s)

    def callout():
        p = rng.choice(rng.choice(classes)[1])
        return fill(p), known[p]

    for _ in range(n):
        k, between = rng.random(), rng.choice([" ", ", "])
        (s, c), (t, d) = callout(), callout()
        if k < .2:
            yield rng.choice(OPEN) + between + s, (c,)
        elif k < .4:
            yield s + between + rng.choice(CLOSE), (c,)
        elif k < .52:
            yield rng.choice(OPEN) + between + s + ", " + rng.choice(CLOSE), (c,)
        elif k < .64:
            yield s + rng.choice([", ", " and "]) + t, (c, d)
        elif k < .7:
            yield fill(rng.choice(TALK)) + ", " + s, (c,)
        elif k < .78:
            yield fill(rng.choice(TALK)), ()
        elif k < .9:
            yield fill(near(rng, list(known), known, lambda k: rng.choice(TALK).split()[:k])), ()
        else:
            yield rng.choice(DENIED) + " " + s, ()
