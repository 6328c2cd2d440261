-- The tables of a reference, with the meaning and unit of every column.
--
-- Conventions: pitch is the MIDI note number (middle C = 60) in semitones;
-- positions count written bars from 0, half-open; a value that does not apply
-- is NULL, never NaN; ids are text and stay the same from build to build.
-- A change here raises SCHEMA_VERSION in corpusreg/settings.py.

CREATE TABLE builds (
    build VARCHAR NOT NULL,
    started TIMESTAMP,
    finished TIMESTAMP,
    tool VARCHAR NOT NULL,
    definitions VARCHAR NOT NULL,
    schema VARCHAR NOT NULL,
    settings VARCHAR NOT NULL,
    libraries VARCHAR NOT NULL,
    reference_id VARCHAR NOT NULL,
    works BIGINT NOT NULL,
    seconds DOUBLE
);
COMMENT ON TABLE builds IS 'How this reference was made; one row';
COMMENT ON COLUMN builds.build IS 'Name of the build, also the stem of the file';
COMMENT ON COLUMN builds.started IS 'Start of the build [UTC]';
COMMENT ON COLUMN builds.finished IS 'End of the build [UTC]';
COMMENT ON COLUMN builds.tool IS 'Version of corpusreg';
COMMENT ON COLUMN builds.definitions IS 'Version of the definitions of the measures';
COMMENT ON COLUMN builds.schema IS 'Version of these tables';
COMMENT ON COLUMN builds.settings IS 'Settings of the build, JSON object';
COMMENT ON COLUMN builds.libraries IS 'Versions of the libraries used, JSON object';
COMMENT ON COLUMN builds.reference_id IS 'Hash of works, definitions and settings';
COMMENT ON COLUMN builds.works IS 'Rows in works [works]';
COMMENT ON COLUMN builds.seconds IS 'Duration of the build [s]';

CREATE TABLE definitions (
    name VARCHAR NOT NULL,
    title VARCHAR NOT NULL,
    unit VARCHAR NOT NULL,
    meaning VARCHAR NOT NULL,
    more VARCHAR NOT NULL,
    less VARCHAR NOT NULL,
    minimum_bars INTEGER NOT NULL,
    needs VARCHAR NOT NULL,
    atom DOUBLE
);
COMMENT ON TABLE definitions IS 'Every measure: what it means and when it can be placed';
COMMENT ON COLUMN definitions.name IS 'Name of the measure, as in measures.name';
COMMENT ON COLUMN definitions.title IS 'Name for people';
COMMENT ON COLUMN definitions.unit IS 'Unit of the value';
COMMENT ON COLUMN definitions.meaning IS 'What it measures, in one sentence';
COMMENT ON COLUMN definitions.more IS 'How a high place is said';
COMMENT ON COLUMN definitions.less IS 'How a low place is said';
COMMENT ON COLUMN definitions.minimum_bars IS 'Shortest piece that is placed [bars]';
COMMENT ON COLUMN definitions.needs IS 'What a piece must have for a value; empty for nothing';
COMMENT ON COLUMN definitions.atom IS 'Value shared by many works and said in words; NULL for none';

CREATE TABLE corpora (
    corpus VARCHAR NOT NULL,
    title VARCHAR,
    tier VARCHAR,
    statement VARCHAR,
    evidence VARCHAR,
    files INTEGER,
    works INTEGER
);
COMMENT ON TABLE corpora IS 'The collections that the works come from';
COMMENT ON COLUMN corpora.corpus IS 'Id of the collection';
COMMENT ON COLUMN corpora.title IS 'Name of the collection';
COMMENT ON COLUMN corpora.tier IS 'Licence tier of the collection: open, permitted, noncommercial or reserved';
COMMENT ON COLUMN corpora.statement IS 'Licence statement, as found';
COMMENT ON COLUMN corpora.evidence IS 'Where the statement was found';
COMMENT ON COLUMN corpora.files IS 'Files seen [files]';
COMMENT ON COLUMN corpora.works IS 'Works found in them [works]';

CREATE TABLE works (
    work VARCHAR PRIMARY KEY,
    corpus VARCHAR NOT NULL,
    collection VARCHAR,
    path VARCHAR NOT NULL,
    number VARCHAR NOT NULL,
    content VARCHAR NOT NULL,
    title VARCHAR,
    movement VARCHAR,
    composer VARCHAR,
    composer_name VARCHAR,
    born INTEGER,
    died INTEGER,
    year_from INTEGER,
    year_to INTEGER,
    year_source VARCHAR,
    year INTEGER,
    period VARCHAR,
    ensemble VARCHAR,
    family VARCHAR,
    texture VARCHAR,
    genre VARCHAR,
    unit VARCHAR,
    tier VARCHAR,
    statement VARCHAR,
    evidence VARCHAR,
    format VARCHAR,
    bars INTEGER,
    beats DOUBLE,
    notes INTEGER,
    parts INTEGER,
    voices DOUBLE,
    lowest INTEGER,
    highest INTEGER,
    dynamics_known BOOLEAN,
    pedal_known BOOLEAN,
    tempo_known BOOLEAN,
    assumed VARCHAR[],
    lost VARCHAR,
    fingerprint VARCHAR,
    same_as VARCHAR
);
COMMENT ON TABLE works IS 'One row for every work read: a movement, a song, a tune';
COMMENT ON COLUMN works.work IS 'Id: corpus, colon, path in the corpus, and # with the number where a file holds many';
COMMENT ON COLUMN works.corpus IS 'Collection, as in corpora.corpus';
COMMENT ON COLUMN works.collection IS 'Part of the corpus that the work belongs to: one edition, tune book or series';
COMMENT ON COLUMN works.path IS 'Path of the file in its collection, with forward slashes';
COMMENT ON COLUMN works.number IS 'Number of the work in a file of many, else empty';
COMMENT ON COLUMN works.content IS 'Hash of the file';
COMMENT ON COLUMN works.title IS 'Title';
COMMENT ON COLUMN works.movement IS 'Title or number of the movement';
COMMENT ON COLUMN works.composer IS 'Id of the composer in the authority table; NULL where unresolved';
COMMENT ON COLUMN works.composer_name IS 'Composer as a name for people';
COMMENT ON COLUMN works.born IS 'Birth of the composer [year]';
COMMENT ON COLUMN works.died IS 'Death of the composer [year]';
COMMENT ON COLUMN works.year_from IS 'Earliest year of composition [year]';
COMMENT ON COLUMN works.year_to IS 'Latest year of composition [year]';
COMMENT ON COLUMN works.year_source IS 'Where the years come from';
COMMENT ON COLUMN works.year IS 'The one year by which the period is decided [year]';
COMMENT ON COLUMN works.period IS 'Period by year of composition';
COMMENT ON COLUMN works.ensemble IS 'Ensemble kind';
COMMENT ON COLUMN works.family IS 'Family of ensembles, the wider group it is compared in where its own is too small';
COMMENT ON COLUMN works.texture IS 'single line or several voices';
COMMENT ON COLUMN works.genre IS 'Genre';
COMMENT ON COLUMN works.unit IS 'Unit that counts once in statistics: the composer, or the source of anonymous works';
COMMENT ON COLUMN works.tier IS 'Licence tier: open, permitted, noncommercial or reserved';
COMMENT ON COLUMN works.statement IS 'Licence statement, as found';
COMMENT ON COLUMN works.evidence IS 'Where the statement was found';
COMMENT ON COLUMN works.format IS 'File format';
COMMENT ON COLUMN works.bars IS 'Length as played [bars]';
COMMENT ON COLUMN works.beats IS 'Length as played [felt beats]';
COMMENT ON COLUMN works.notes IS 'Sounding notes as played, ties merged [notes]';
COMMENT ON COLUMN works.parts IS 'Players [parts]';
COMMENT ON COLUMN works.voices IS 'Pitches sounding at once, on average while anything sounds [pitches]';
COMMENT ON COLUMN works.lowest IS 'Lowest sounding pitch [MIDI note number]';
COMMENT ON COLUMN works.highest IS 'Highest sounding pitch [MIDI note number]';
COMMENT ON COLUMN works.dynamics_known IS 'Dynamics are written';
COMMENT ON COLUMN works.pedal_known IS 'Sustain pedal is written';
COMMENT ON COLUMN works.tempo_known IS 'A tempo is written';
COMMENT ON COLUMN works.assumed IS 'What was taken for granted in reading, in plain words';
COMMENT ON COLUMN works.lost IS 'What could not be placed in reading, JSON object of counts by reason';
COMMENT ON COLUMN works.fingerprint IS 'Texture fingerprint by which copies are found';
COMMENT ON COLUMN works.same_as IS 'The work that counts in place of this copy; NULL where this one counts';

CREATE TABLE work_columns (
    work VARCHAR NOT NULL,
    name VARCHAR NOT NULL,
    value VARCHAR NOT NULL
);
COMMENT ON TABLE work_columns IS 'Further columns of the metadata table of a corpus, kept with its works';
COMMENT ON COLUMN work_columns.work IS 'Work, as in works.work';
COMMENT ON COLUMN work_columns.name IS 'Name of the column';
COMMENT ON COLUMN work_columns.value IS 'Its text for this work';

CREATE TABLE parts (
    work VARCHAR NOT NULL,
    part INTEGER NOT NULL,
    name VARCHAR,
    instrument VARCHAR,
    family VARCHAR,
    notes INTEGER,
    lowest INTEGER,
    highest INTEGER,
    mean_pitch DOUBLE
);
COMMENT ON TABLE parts IS 'The players of a work';
COMMENT ON COLUMN parts.work IS 'Work, as in works.work';
COMMENT ON COLUMN parts.part IS 'Place in the score from 0, top first as in the file';
COMMENT ON COLUMN parts.name IS 'Name in the score';
COMMENT ON COLUMN parts.instrument IS 'Instrument or voice; NULL where not recognised';
COMMENT ON COLUMN parts.family IS 'Family of the instrument';
COMMENT ON COLUMN parts.notes IS 'Sounding notes as played [notes]';
COMMENT ON COLUMN parts.lowest IS 'Lowest sounding pitch [MIDI note number]';
COMMENT ON COLUMN parts.highest IS 'Highest sounding pitch [MIDI note number]';
COMMENT ON COLUMN parts.mean_pitch IS 'Mean sounding pitch of its notes [MIDI note number]';

CREATE TABLE measures (
    work VARCHAR NOT NULL,
    name VARCHAR NOT NULL,
    value DOUBLE,
    reason VARCHAR
);
COMMENT ON TABLE measures IS 'One row for every work and measure';
COMMENT ON COLUMN measures.work IS 'Work, as in works.work';
COMMENT ON COLUMN measures.name IS 'Measure, as in definitions.name';
COMMENT ON COLUMN measures.value IS 'Value [definitions.unit]; NULL where it does not apply';
COMMENT ON COLUMN measures.reason IS 'Why there is no value; NULL where there is one';

CREATE TABLE measures_rebarred (
    work VARCHAR NOT NULL,
    bars VARCHAR NOT NULL,
    name VARCHAR NOT NULL,
    value DOUBLE
);
COMMENT ON TABLE measures_rebarred IS 'Measures that depend on barlines, with other bars; for works with a period';
COMMENT ON COLUMN measures_rebarred.work IS 'Work, as in works.work';
COMMENT ON COLUMN measures_rebarred.bars IS 'half: every bar cut in two; double: bars joined in pairs';
COMMENT ON COLUMN measures_rebarred.name IS 'Measure, as in definitions.name';
COMMENT ON COLUMN measures_rebarred.value IS 'Value, dwells in written bars; movement is from window to window [definitions.unit]';

CREATE TABLE stays (
    work VARCHAR NOT NULL,
    part INTEGER,
    stay INTEGER NOT NULL,
    first INTEGER NOT NULL,
    last INTEGER NOT NULL,
    start_bar VARCHAR,
    end_bar VARCHAR,
    played_first INTEGER,
    played_last INTEGER,
    bars INTEGER,
    low DOUBLE,
    high DOUBLE,
    width VARCHAR,
    bands INTEGER[],
    rank INTEGER
);
COMMENT ON TABLE stays IS 'Passages that stay in one register, of the whole texture or of one part';
COMMENT ON COLUMN stays.work IS 'Work, as in works.work';
COMMENT ON COLUMN stays.part IS 'Part, as in parts.part; NULL for the whole texture';
COMMENT ON COLUMN stays.stay IS 'Number of the stay in played order';
COMMENT ON COLUMN stays.first IS 'First written bar of its first occurrence, position from 0 [bars]';
COMMENT ON COLUMN stays.last IS 'Written bar after its last one, position from 0 [bars]';
COMMENT ON COLUMN stays.start_bar IS 'Printed number of the first bar';
COMMENT ON COLUMN stays.end_bar IS 'Printed number of the last bar';
COMMENT ON COLUMN stays.played_first IS 'First bar in played order, position from 0 [bars]';
COMMENT ON COLUMN stays.played_last IS 'Bar after its last one in played order, position from 0 [bars]';
COMMENT ON COLUMN stays.bars IS 'Length as played [bars]';
COMMENT ON COLUMN stays.low IS 'Lower edge [MIDI note number]';
COMMENT ON COLUMN stays.high IS 'Upper edge [MIDI note number]';
COMMENT ON COLUMN stays.width IS 'narrow or wide';
COMMENT ON COLUMN stays.bands IS 'Octave bands occupied, lowest first [octave number]';
COMMENT ON COLUMN stays.rank IS '1 for the main stay: long, narrow and full for its piece';

CREATE TABLE shifts (
    work VARCHAR NOT NULL,
    shift INTEGER NOT NULL,
    position INTEGER NOT NULL,
    bar VARCHAR,
    size DOUBLE,
    direction VARCHAR,
    "by" VARCHAR,
    abrupt DOUBLE,
    at_section BOOLEAN,
    clear BOOLEAN,
    counted BOOLEAN
);
COMMENT ON TABLE shifts IS 'Moves of the texture, or of one player, to another register; the packed reference has the clear ones';
COMMENT ON COLUMN shifts.work IS 'Work, as in works.work';
COMMENT ON COLUMN shifts.shift IS 'Number of the shift in played order';
COMMENT ON COLUMN shifts.position IS 'Written bar in which the new register begins, position from 0 [bars]';
COMMENT ON COLUMN shifts.bar IS 'Printed number of that bar';
COMMENT ON COLUMN shifts.size IS 'Size [semitones]';
COMMENT ON COLUMN shifts.direction IS 'up, down, opening or closing';
COMMENT ON COLUMN shifts."by" IS 'What moved: mass, top, bottom, or one part alone';
COMMENT ON COLUMN shifts.abrupt IS 'Abruptness: share of the move made at once [0-1]';
COMMENT ON COLUMN shifts.at_section IS 'Falls on the beginning of a section';
COMMENT ON COLUMN shifts.clear IS 'So clear that it is told as an event';
COMMENT ON COLUMN shifts.counted IS 'Counts in the shift rate';

CREATE TABLE events (
    work VARCHAR NOT NULL,
    part INTEGER,
    event INTEGER NOT NULL,
    kind VARCHAR NOT NULL,
    position INTEGER NOT NULL,
    bar VARCHAR,
    start_bar VARCHAR,
    end_bar VARCHAR,
    played INTEGER,
    played_first INTEGER,
    played_last INTEGER,
    beat DOUBLE,
    low INTEGER,
    high INTEGER,
    pitches INTEGER[],
    players INTEGER[],
    bars DOUBLE,
    silence DOUBLE,
    since_bar VARCHAR,
    first_time BOOLEAN,
    edge INTEGER,
    distance DOUBLE,
    direction VARCHAR,
    approach VARCHAR,
    place VARCHAR,
    ending VARCHAR,
    "by" VARCHAR,
    "interval" INTEGER,
    again_bar VARCHAR,
    times INTEGER,
    at_section BOOLEAN,
    strength DOUBLE
);
COMMENT ON TABLE events IS 'What happens in the registers, of the whole texture or of one part';
COMMENT ON COLUMN events.work IS 'Work, as in works.work';
COMMENT ON COLUMN events.part IS 'Part, as in parts.part; NULL for the whole texture';
COMMENT ON COLUMN events.event IS 'Rank of the event, from 0 for the one told first; -1 for edge';
COMMENT ON COLUMN events.kind IS 'withheld_bass, withheld_top, cleared, climb, descent, wedge, pedal_point, shift, octave_return, voice_entry, high_point, low_point, isolated, in_octaves, dialogue, gap, crossing, closing or entry; edge: a part at the edge of its range while the whole sounds in the middle';
COMMENT ON COLUMN events.position IS 'Written bar in which it happens, position from 0 [bars]';
COMMENT ON COLUMN events.bar IS 'Printed number of that bar';
COMMENT ON COLUMN events.start_bar IS 'Printed number of its first bar';
COMMENT ON COLUMN events.end_bar IS 'Printed number of its last bar';
COMMENT ON COLUMN events.played IS 'Bar in which it happens in played order, position from 0 [bars]';
COMMENT ON COLUMN events.played_first IS 'First bar in played order, position from 0 [bars]';
COMMENT ON COLUMN events.played_last IS 'Bar after its last one in played order, position from 0 [bars]';
COMMENT ON COLUMN events.beat IS 'Beat in its bar at which it happens, from 1 [felt beats]';
COMMENT ON COLUMN events.low IS 'Lowest pitch of the register [MIDI note number]';
COMMENT ON COLUMN events.high IS 'Highest pitch of the register [MIDI note number]';
COMMENT ON COLUMN events.pitches IS 'Pitches that prove it, lowest first [MIDI note numbers]';
COMMENT ON COLUMN events.players IS 'Parts that do it, as in parts.part';
COMMENT ON COLUMN events.bars IS 'How long the new register or the passage lasts, 8 bars at most after silence [bars]';
COMMENT ON COLUMN events.silence IS 'Silence of the place before; 0 where silence is no part of it [bars]';
COMMENT ON COLUMN events.since_bar IS 'Printed number of the bar in which the place was last heard';
COMMENT ON COLUMN events.first_time IS 'The place was not heard before in the work';
COMMENT ON COLUMN events.edge IS 'Note nearest to the place that sounded meanwhile [MIDI note number]';
COMMENT ON COLUMN events.distance IS 'Distance from where the line or texture was [semitones]';
COMMENT ON COLUMN events.direction IS 'up, down, opening or closing';
COMMENT ON COLUMN events.approach IS 'How the note is reached in its line: step, leap or silence';
COMMENT ON COLUMN events.place IS 'Where in the texture: bass, inner or top';
COMMENT ON COLUMN events.ending IS 'How a pedal point ends: resolves, moves off, stops or with the piece';
COMMENT ON COLUMN events."by" IS 'What moves: enters, falls, rises; bottom, top or both edges of a shift';
COMMENT ON COLUMN events."interval" IS 'Interval of a return, imitation, doubling or gap, up positive [semitones]';
COMMENT ON COLUMN events.again_bar IS 'Printed number of the bar whose music returns';
COMMENT ON COLUMN events.times IS 'How often: earlier peaks, alternations [times]';
COMMENT ON COLUMN events.at_section IS 'Falls on the beginning of a section';
COMMENT ON COLUMN events.strength IS 'Strength within its kind [0-100]';

CREATE TABLE bar_edges (
    work VARCHAR NOT NULL,
    low INTEGER[],
    high INTEGER[]
);
COMMENT ON TABLE bar_edges IS 'Edges of the texture in every played bar';
COMMENT ON COLUMN bar_edges.work IS 'Work, as in works.work';
COMMENT ON COLUMN bar_edges.low IS 'Lower edge of each played bar, 5 % of its weight below; -1 where nothing sounds [MIDI note numbers]';
COMMENT ON COLUMN bar_edges.high IS 'Upper edge of each played bar, 5 % of its weight above; -1 where nothing sounds [MIDI note numbers]';

CREATE TABLE saturation (
    work VARCHAR NOT NULL,
    stay INTEGER,
    band INTEGER NOT NULL,
    peak DOUBLE,
    peak_half DOUBLE,
    peak_double DOUBLE,
    mean DOUBLE,
    mean_half DOUBLE,
    mean_double DOUBLE,
    saturated BOOLEAN
);
COMMENT ON TABLE saturation IS 'How far octaves are filled with sound, of the work and of each stay';
COMMENT ON COLUMN saturation.work IS 'Work, as in works.work';
COMMENT ON COLUMN saturation.stay IS 'Number of the stay, as in stays.stay; NULL for the work';
COMMENT ON COLUMN saturation.band IS 'Octave C to B [octave number, 4 = C4 to B4]';
COMMENT ON COLUMN saturation.peak IS 'Highest saturation [0-1]';
COMMENT ON COLUMN saturation.peak_half IS 'The same at half the time constant [0-1]';
COMMENT ON COLUMN saturation.peak_double IS 'The same at double the time constant [0-1]';
COMMENT ON COLUMN saturation.mean IS 'Mean saturation [0-1]';
COMMENT ON COLUMN saturation.mean_half IS 'The same at half the time constant [0-1]';
COMMENT ON COLUMN saturation.mean_double IS 'The same at double the time constant [0-1]';
COMMENT ON COLUMN saturation.saturated IS 'Saturated at all three time constants';

CREATE TABLE band_weights (
    work VARCHAR NOT NULL,
    band INTEGER NOT NULL,
    share DOUBLE
);
COMMENT ON TABLE band_weights IS 'How much of a work sounds in each octave';
COMMENT ON COLUMN band_weights.work IS 'Work, as in works.work';
COMMENT ON COLUMN band_weights.band IS 'Octave C to B [octave number, 4 = C4 to B4]';
COMMENT ON COLUMN band_weights.share IS 'Share of the weight of the work [0-1]';

CREATE TABLE pitch_weights (
    work VARCHAR NOT NULL,
    pitch INTEGER NOT NULL,
    share DOUBLE,
    notes INTEGER
);
COMMENT ON TABLE pitch_weights IS 'How much of a work sounds at each pitch';
COMMENT ON COLUMN pitch_weights.work IS 'Work, as in works.work';
COMMENT ON COLUMN pitch_weights.pitch IS 'Sounding pitch [MIDI note number]';
COMMENT ON COLUMN pitch_weights.share IS 'Share of the weight of the work [0-1]';
COMMENT ON COLUMN pitch_weights.notes IS 'Sounding notes as played at this pitch [notes]';

CREATE TABLE curves (
    work VARCHAR NOT NULL,
    part INTEGER NOT NULL,
    low INTEGER,
    middle INTEGER,
    high INTEGER
);
COMMENT ON TABLE curves IS 'The shape of register over a work: edges and middle in ten equal parts of its bars';
COMMENT ON COLUMN curves.work IS 'Work, as in works.work';
COMMENT ON COLUMN curves.part IS 'Number of the tenth, from 0';
COMMENT ON COLUMN curves.low IS 'Pitch below which 5 % of the weight lies [MIDI note number]';
COMMENT ON COLUMN curves.middle IS 'Pitch below which half of the weight lies [MIDI note number]';
COMMENT ON COLUMN curves.high IS 'Pitch below which 95 % of the weight lies [MIDI note number]';

CREATE TABLE shingles (
    work VARCHAR NOT NULL,
    shingle UBIGINT NOT NULL
);
COMMENT ON TABLE shingles IS 'Marks by which the same music is found, whole or in part';
COMMENT ON COLUMN shingles.work IS 'Work, as in works.work';
COMMENT ON COLUMN shingles.shingle IS 'Hash of ten successive onsets; a number without unit';

CREATE TABLE part_pitches (
    work VARCHAR NOT NULL,
    part INTEGER NOT NULL,
    pitch INTEGER NOT NULL,
    notes INTEGER
);
COMMENT ON TABLE part_pitches IS 'How many notes each part has on each pitch';
COMMENT ON COLUMN part_pitches.work IS 'Work, as in works.work';
COMMENT ON COLUMN part_pitches.part IS 'Part, as in parts.part';
COMMENT ON COLUMN part_pitches.pitch IS 'Sounding pitch [MIDI note number]';
COMMENT ON COLUMN part_pitches.notes IS 'Notes as played, ties merged [notes]';

CREATE TABLE steps (
    work VARCHAR NOT NULL,
    part INTEGER NOT NULL,
    step INTEGER NOT NULL,
    times INTEGER
);
COMMENT ON TABLE steps IS 'How often the line of each part moves by each interval; the line is the highest note of each onset';
COMMENT ON COLUMN steps.work IS 'Work, as in works.work';
COMMENT ON COLUMN steps.part IS 'Part, as in parts.part';
COMMENT ON COLUMN steps.step IS 'Interval from note to note, up positive [semitones]';
COMMENT ON COLUMN steps.times IS 'How often [times]';

CREATE TABLE skips (
    work VARCHAR NOT NULL,
    part INTEGER NOT NULL,
    place VARCHAR NOT NULL,
    turned INTEGER,
    went_on INTEGER,
    repeated INTEGER
);
COMMENT ON TABLE skips IS 'What follows a skip of 3 semitones or more in the line of each part';
COMMENT ON COLUMN skips.work IS 'Work, as in works.work';
COMMENT ON COLUMN skips.part IS 'Part, as in parts.part';
COMMENT ON COLUMN skips.place IS 'Where the skip lands beside the median of the line: away, across, on, or toward it';
COMMENT ON COLUMN skips.turned IS 'How often the next interval goes the other way [times]';
COMMENT ON COLUMN skips.went_on IS 'How often it goes the same way [times]';
COMMENT ON COLUMN skips.repeated IS 'How often the note is repeated [times]';

CREATE TABLE part_gaps (
    work VARCHAR NOT NULL,
    upper INTEGER NOT NULL,
    lower INTEGER NOT NULL,
    onsets INTEGER,
    mean DOUBLE,
    over_octave DOUBLE
);
COMMENT ON TABLE part_gaps IS 'Space between neighbouring parts at the onsets of the work where both sound';
COMMENT ON COLUMN part_gaps.work IS 'Work, as in works.work';
COMMENT ON COLUMN part_gaps.upper IS 'Part above in the score, as in parts.part';
COMMENT ON COLUMN part_gaps.lower IS 'Part below in the score, as in parts.part';
COMMENT ON COLUMN part_gaps.onsets IS 'Onsets counted [onsets]';
COMMENT ON COLUMN part_gaps.mean IS 'Mean interval between them, negative where they cross [semitones]';
COMMENT ON COLUMN part_gaps.over_octave IS 'Share of onsets with more than an octave between them [0-1]';

CREATE TABLE bass_gaps (
    work VARCHAR NOT NULL,
    bass INTEGER NOT NULL,
    gap INTEGER NOT NULL,
    onsets INTEGER
);
COMMENT ON TABLE bass_gaps IS 'Space above the lowest sounding pitch at the onsets of the work';
COMMENT ON COLUMN bass_gaps.work IS 'Work, as in works.work';
COMMENT ON COLUMN bass_gaps.bass IS 'Lowest sounding pitch [MIDI note number]';
COMMENT ON COLUMN bass_gaps.gap IS 'Interval to the next higher sounding pitch [semitones]';
COMMENT ON COLUMN bass_gaps.onsets IS 'Onsets at which it is so [onsets]';

CREATE TABLE phrases (
    work VARCHAR NOT NULL,
    phrase INTEGER NOT NULL,
    notes INTEGER,
    first DOUBLE,
    middle DOUBLE,
    last DOUBLE
);
COMMENT ON TABLE phrases IS 'Phrases of tunes whose source marks them: a line of ABC';
COMMENT ON COLUMN phrases.work IS 'Work, as in works.work';
COMMENT ON COLUMN phrases.phrase IS 'Number of the phrase, from 0';
COMMENT ON COLUMN phrases.notes IS 'Notes as written [notes]';
COMMENT ON COLUMN phrases.first IS 'First pitch [MIDI note number]';
COMMENT ON COLUMN phrases.middle IS 'Mean pitch between the first and the last note; NULL below three notes [MIDI note number]';
COMMENT ON COLUMN phrases.last IS 'Last pitch [MIDI note number]';

CREATE TABLE failures (
    corpus VARCHAR NOT NULL,
    path VARCHAR NOT NULL,
    number VARCHAR NOT NULL,
    content VARCHAR,
    stage VARCHAR NOT NULL,
    reason VARCHAR NOT NULL
);
COMMENT ON TABLE failures IS 'Files and works that could not be read or measured';
COMMENT ON COLUMN failures.corpus IS 'Collection, as in corpora.corpus';
COMMENT ON COLUMN failures.path IS 'Path of the file in its collection';
COMMENT ON COLUMN failures.number IS 'Number of the work in a file of many, else empty';
COMMENT ON COLUMN failures.content IS 'Hash of the file; NULL where it could not be opened';
COMMENT ON COLUMN failures.stage IS 'read, measure, time, memory or crash';
COMMENT ON COLUMN failures.reason IS 'What went wrong, one line';

CREATE TABLE left_out (
    work VARCHAR NOT NULL,
    measure VARCHAR NOT NULL,
    reason VARCHAR NOT NULL
);
COMMENT ON TABLE left_out IS 'Values that count in no norm, since the score is hardly right there';
COMMENT ON COLUMN left_out.work IS 'Work, as in works.work';
COMMENT ON COLUMN left_out.measure IS 'Measure, as in definitions.name';
COMMENT ON COLUMN left_out.reason IS 'What is wrong';

CREATE TABLE rungs (
    rung VARCHAR NOT NULL,
    title VARCHAR,
    broad BOOLEAN,
    works INTEGER,
    composers INTEGER,
    sources INTEGER,
    collections INTEGER,
    effective DOUBLE,
    made_of VARCHAR
);
COMMENT ON TABLE rungs IS 'Groups of works that a piece can be placed among';
COMMENT ON COLUMN rungs.rung IS 'Id of the group';
COMMENT ON COLUMN rungs.title IS 'The group in words';
COMMENT ON COLUMN rungs.broad IS 'Wider than one ensemble';
COMMENT ON COLUMN rungs.works IS 'Works that count [works]';
COMMENT ON COLUMN rungs.composers IS 'Composers, or sources of anonymous works [units]';
COMMENT ON COLUMN rungs.sources IS 'Sources that stand for composers of anonymous works [sources]';
COMMENT ON COLUMN rungs.collections IS 'Collections [collections]';
COMMENT ON COLUMN rungs.effective IS 'Effective number of composers after weighting [units]';
COMMENT ON COLUMN rungs.made_of IS 'Hash of its works and what was measured in them; where it is the same, a later build keeps what is known of the group';

CREATE TABLE rung_quantiles (
    rung VARCHAR NOT NULL,
    measure VARCHAR NOT NULL,
    q DOUBLE NOT NULL,
    value DOUBLE
);
COMMENT ON TABLE rung_quantiles IS 'Distribution of each measure in each group, composers weighted equally';
COMMENT ON COLUMN rung_quantiles.rung IS 'Group, as in rungs.rung';
COMMENT ON COLUMN rung_quantiles.measure IS 'Measure, as in definitions.name';
COMMENT ON COLUMN rung_quantiles.q IS 'Quantile [0-1]';
COMMENT ON COLUMN rung_quantiles.value IS 'Value of the measure at that quantile [definitions.unit]';

CREATE TABLE profile_rungs (
    rung VARCHAR NOT NULL,
    works INTEGER,
    composers INTEGER,
    tried INTEGER,
    clear BOOLEAN,
    silhouette DOUBLE,
    silhouette_null DOUBLE,
    stability DOUBLE,
    stability_null DOUBLE,
    clear_without_length BOOLEAN,
    words VARCHAR
);
COMMENT ON TABLE profile_rungs IS 'Groups of works in which profiles were looked for, and what was found';
COMMENT ON COLUMN profile_rungs.rung IS 'Group, as in rungs.rung';
COMMENT ON COLUMN profile_rungs.works IS 'Works with all features [works]';
COMMENT ON COLUMN profile_rungs.composers IS 'Composers, or sources of anonymous works [units]';
COMMENT ON COLUMN profile_rungs.tried IS 'Number of profiles that stands out most; NULL where made without scikit-learn [profiles]';
COMMENT ON COLUMN profile_rungs.clear IS 'Whether works fall into so many profiles clearly';
COMMENT ON COLUMN profile_rungs.silhouette IS 'Mean silhouette, composers weighted equally [-1 to 1]';
COMMENT ON COLUMN profile_rungs.silhouette_null IS 'What 95 % of data sets without clusters stay below [-1 to 1]';
COMMENT ON COLUMN profile_rungs.stability IS 'Mean adjusted Rand index of halves of the composers [-1 to 1]';
COMMENT ON COLUMN profile_rungs.stability_null IS 'What 95 % of data sets without clusters stay below; NULL where not needed [-1 to 1]';
COMMENT ON COLUMN profile_rungs.clear_without_length IS 'Whether there are clear profiles once length is taken out';
COMMENT ON COLUMN profile_rungs.words IS 'The same in words';

CREATE TABLE profile_scales (
    rung VARCHAR NOT NULL,
    feature VARCHAR NOT NULL,
    value DOUBLE NOT NULL,
    score DOUBLE
);
COMMENT ON TABLE profile_scales IS 'From values of features to scores, composers weighted equally';
COMMENT ON COLUMN profile_scales.rung IS 'Group, as in rungs.rung';
COMMENT ON COLUMN profile_scales.feature IS 'Measure, as in definitions.name, or a share of the weight: outside (beyond half an octave from the centre), far (beyond one and a half), lean (above less below)';
COMMENT ON COLUMN profile_scales.value IS 'Value [definitions.unit, or -1 to 1]';
COMMENT ON COLUMN profile_scales.score IS 'Normal score of its rank: 0 in the middle, 1 above 84 % [standard deviations]';

CREATE TABLE profiles (
    rung VARCHAR NOT NULL,
    profile INTEGER NOT NULL,
    size INTEGER,
    composers INTEGER,
    reach DOUBLE,
    words VARCHAR,
    typical VARCHAR[]
);
COMMENT ON TABLE profiles IS 'Kinds of register use in a group of works; none where works differ by degrees';
COMMENT ON COLUMN profiles.rung IS 'Group, as in rungs.rung';
COMMENT ON COLUMN profiles.profile IS 'Number of the profile in its group, from 1, the one with most weight first';
COMMENT ON COLUMN profiles.size IS 'Works in it [works]';
COMMENT ON COLUMN profiles.composers IS 'Composers, or sources of anonymous works [units]';
COMMENT ON COLUMN profiles.reach IS 'Distance from its centre within which 95 % of its works lie [standard deviations]';
COMMENT ON COLUMN profiles.words IS 'What its centre is like';
COMMENT ON COLUMN profiles.typical IS 'Works nearest its centre, by different composers, as in works.work';

CREATE TABLE profile_centres (
    rung VARCHAR NOT NULL,
    profile INTEGER NOT NULL,
    feature VARCHAR NOT NULL,
    value DOUBLE
);
COMMENT ON TABLE profile_centres IS 'Centres of profiles';
COMMENT ON COLUMN profile_centres.rung IS 'Group, as in rungs.rung';
COMMENT ON COLUMN profile_centres.profile IS 'Number of the profile, as in profiles.profile';
COMMENT ON COLUMN profile_centres.feature IS 'Feature, as in profile_scales.feature';
COMMENT ON COLUMN profile_centres.value IS 'Score, as in profile_scales.score [standard deviations]';

CREATE TABLE profile_works (
    rung VARCHAR NOT NULL,
    work VARCHAR NOT NULL,
    profile INTEGER,
    distance DOUBLE,
    position DOUBLE[]
);
COMMENT ON TABLE profile_works IS 'Works as points, with the profile they are in';
COMMENT ON COLUMN profile_works.rung IS 'Group, as in rungs.rung';
COMMENT ON COLUMN profile_works.work IS 'Work, as in works.work';
COMMENT ON COLUMN profile_works.profile IS 'Number of the profile, as in profiles.profile; NULL where there is none';
COMMENT ON COLUMN profile_works.distance IS 'Distance from its centre; NULL where there is none [standard deviations]';
COMMENT ON COLUMN profile_works.position IS 'Scores by feature: measures in the order of definitions, then outside, far, lean [standard deviations]';
