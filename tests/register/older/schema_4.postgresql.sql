CREATE TABLE public.adoptions (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    job character varying,
    rules_sha256 character varying,
    agreed_by character varying
);
CREATE TABLE public.batches (
    number integer NOT NULL,
    at character varying(32) NOT NULL,
    kind character varying NOT NULL,
    subject character varying NOT NULL,
    source character varying,
    sha256 character varying(64),
    by character varying,
    new integer NOT NULL,
    unchanged integer NOT NULL,
    corrected integer NOT NULL,
    left_out integer NOT NULL,
    digest character varying(64),
    chained_later boolean
);
CREATE TABLE public.beads (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    key character varying NOT NULL,
    job character varying,
    joint character varying,
    side character varying,
    from_mm double precision,
    length_mm double precision,
    wrapped boolean,
    date date,
    inspector character varying
);
CREATE TABLE public.confirmations (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    key character varying NOT NULL,
    welder character varying,
    certificate character varying,
    date date,
    by character varying,
    evidence character varying
);
CREATE TABLE public.decisions (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    decision character varying,
    job character varying,
    kind character varying,
    subject character varying,
    detail character varying,
    person character varying,
    reason character varying
);
CREATE TABLE public.deposits (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    key character varying NOT NULL,
    job character varying,
    joint character varying,
    welder character varying,
    date date,
    pass character varying,
    side character varying,
    from_mm double precision,
    to_mm double precision,
    process character varying,
    "position" character varying,
    procedure character varying
);
CREATE TABLE public.examinations (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    key character varying NOT NULL,
    job character varying,
    joint character varying,
    method character varying,
    from_mm double precision,
    to_mm double precision,
    round bigint,
    verdict character varying,
    date date,
    report character varying,
    exposure character varying,
    technician character varying,
    technician_level bigint,
    request character varying,
    remark character varying
);
CREATE TABLE public.frame_cells (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    plan character varying,
    cell bigint,
    job character varying,
    joint character varying,
    rule character varying,
    method character varying,
    from_mm double precision,
    to_mm double precision,
    mandatory character varying,
    stratum character varying,
    welder character varying,
    risk double precision,
    pi double precision
);
CREATE TABLE public.imperfections (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    examination bigint,
    job character varying,
    joint character varying,
    imperfection character varying,
    imp_from_mm double precision,
    imp_length_mm double precision,
    imp_height_mm double precision,
    imp_pass character varying,
    imp_side character varying,
    imp_rejectable boolean
);
CREATE TABLE public.jobs (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    key character varying NOT NULL,
    job character varying,
    title character varying,
    started date
);
CREATE TABLE public.joints (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    key character varying NOT NULL,
    job character varying,
    zone character varying,
    joint character varying,
    category character varying,
    joint_type character varying,
    penetration character varying,
    length_mm double precision,
    whole boolean,
    thickness_mm double precision,
    material character varying,
    process character varying,
    "position" character varying,
    procedure character varying,
    crossings_mm character varying,
    bead_length_mm double precision,
    bead_pitch_mm double precision,
    bead_pattern character varying,
    bead_end_mm double precision,
    ends_wrapped boolean,
    drawing character varying,
    replaces character varying
);
CREATE TABLE public.plans (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    plan character varying,
    job character varying,
    kind character varying,
    seed bigint,
    rules_sha256 character varying,
    frame_sha256 character varying,
    drawn_at character varying,
    risk_exponent double precision,
    budget bigint,
    evidence_days bigint,
    version character varying
);
CREATE TABLE public.properties (
    name character varying NOT NULL,
    value character varying NOT NULL
);
CREATE TABLE public.qualifications (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    key character varying NOT NULL,
    welder character varying,
    certificate character varying,
    standard character varying,
    process character varying,
    material character varying,
    joint_types character varying,
    positions character varying,
    thickness_min_mm double precision,
    thickness_max_mm double precision,
    qualified_on date,
    confirmed_on date,
    valid_until date,
    route character varying
);
CREATE TABLE public.rule_sets (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    sha256 character varying,
    title character varying,
    text character varying
);
CREATE TABLE public.spots (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    spot character varying,
    plan character varying,
    job character varying,
    joint character varying,
    rule character varying,
    method character varying,
    from_mm double precision,
    to_mm double precision,
    part character varying,
    why character varying,
    stratum character varying,
    pi double precision,
    draw_order bigint,
    risk double precision,
    acceptance character varying,
    technique character varying,
    conditions character varying,
    round bigint,
    because character varying
);
CREATE TABLE public.tests (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    key character varying NOT NULL,
    job character varying,
    zone character varying,
    test character varying,
    date date,
    pressure_bar double precision,
    verdict character varying,
    report character varying
);
CREATE TABLE public.warnings (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    "table" character varying,
    row_key character varying,
    job character varying,
    code character varying,
    file character varying,
    sheet character varying,
    "row" bigint,
    "column" character varying,
    value character varying,
    reason character varying,
    remedy character varying
);
CREATE TABLE public.welders (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    key character varying NOT NULL,
    welder character varying,
    name character varying,
    employer character varying
);
CREATE TABLE public.zones (
    id bigint NOT NULL,
    batch integer NOT NULL,
    superseded integer,
    key character varying NOT NULL,
    job character varying,
    zone character varying,
    parent character varying,
    due date,
    milestone character varying,
    leak_test boolean,
    test_pressure_bar double precision
);
INSERT INTO public.batches VALUES (1, '2026-03-02T09:00:00.000000+00:00', 'load', 'jobs', NULL, NULL, NULL, 1, 0, 0, 0, 'ed48944a3f1fd6ba99d5e14db386ba5a8349d7647c3a84d5ec634a397fbb32ca', NULL);
INSERT INTO public.batches VALUES (2, '2026-03-03T09:00:00.000000+00:00', 'load', 'joints', NULL, NULL, NULL, 3, 0, 0, 0, '565ebe62993876be701506cc1835896654cc403f1a060762f7812243bfa6f515', NULL);
INSERT INTO public.batches VALUES (3, '2026-03-04T09:00:00.000000+00:00', 'load', 'joints', NULL, NULL, NULL, 0, 2, 1, 0, 'a626bbb84cc25c258e720b3171f7f8c2d9870c5b4fc0e6e40710ff604e129ef4', NULL);
INSERT INTO public.batches VALUES (4, '2026-03-05T09:00:00.000000+00:00', 'load', 'examinations', NULL, NULL, 'lead', 2, 0, 0, 0, '3ad0363e22ed452806c5af9400271fc540d8e7539ceb583d9c08eaa30a922bc1', NULL);
INSERT INTO public.batches VALUES (5, '2026-03-06T09:00:00.000000+00:00', 'load', 'examinations', NULL, NULL, 'lead', 0, 1, 1, 0, '1dca8f01aa3625405bc1ae1d36a047cbbb76bb78602b2fd5df5269bd4ee081e2', NULL);
INSERT INTO public.batches VALUES (6, '2026-03-07T09:00:00.000000+00:00', 'plan', 'H1', NULL, NULL, NULL, 0, 0, 0, 0, '25264c5fc47d7abc69d17494a7e21b91d33607f8aeafea877a7ee9f607139549', NULL);
INSERT INTO public.examinations VALUES (1, 4, NULL, 'H1B-1RT0.0300.00R1', 'H1', 'B-1', 'RT', 0, 300, 0, 'accept', '2026-02-01', 'R1', NULL, NULL, NULL, NULL, NULL);
INSERT INTO public.examinations VALUES (2, 4, 5, 'H1B-2RT100.0400.00R''1', 'H1', 'B-2', 'RT', 100, 400, 0, 'reject', '2026-02-02', 'R''1', NULL, NULL, NULL, NULL, NULL);
INSERT INTO public.examinations VALUES (3, 5, NULL, 'H1B-2RT100.0400.00R''1', 'H1', 'B-2', 'RT', 100, 400, 0, 'reject', '2026-02-02', 'R''1', NULL, NULL, NULL, NULL, NULL);
INSERT INTO public.imperfections VALUES (1, 4, 5, 2, 'H1', 'B-2', '2013', 120, NULL, NULL, NULL, NULL, false);
INSERT INTO public.imperfections VALUES (2, 4, 5, 2, 'H1', 'B-2', '401', 180, NULL, NULL, NULL, NULL, true);
INSERT INTO public.imperfections VALUES (3, 5, NULL, 3, 'H1', 'B-2', '401', 180, NULL, NULL, NULL, NULL, true);
INSERT INTO public.jobs VALUES (1, 1, NULL, 'H1', 'H1', 'invented hull', NULL);
INSERT INTO public.joints VALUES (1, 2, NULL, 'H1B-1', 'H1', 'Z1', 'B-1', 'A', 'butt', NULL, 1000, true, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO public.joints VALUES (3, 2, NULL, 'H1Ω-3', 'H1', 'Z2', 'Ω-3', 'B', 'butt', NULL, 800.1, false, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO public.joints VALUES (2, 2, 3, 'H1B-2', 'H1', 'Z1', 'B-2', 'A', 'butt', NULL, 2500.5, NULL, NULL, NULL, NULL, NULL, NULL, '100;900', NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO public.joints VALUES (4, 3, NULL, 'H1B-2', 'H1', 'Z1', 'B-2', 'A', 'butt', NULL, 2600, NULL, NULL, NULL, NULL, NULL, NULL, '100;900', NULL, NULL, NULL, NULL, NULL, NULL, NULL);
INSERT INTO public.plans VALUES (1, 6, NULL, 'P1', 'H1', 'draw', 7, NULL, 'abababababababababababababababababababababababababababababababab', '2026-03-02T09:00:00+00:00', NULL, NULL, NULL, '0.1.0');
INSERT INTO public.properties VALUES ('schema', '4');
INSERT INTO public.spots VALUES (1, 6, NULL, 'P1-0001', 'P1', 'H1', 'B-2', NULL, 'RT', 100, 400, 'random', NULL, NULL, 0.3333333333333333, NULL, NULL, NULL, NULL, NULL, 0, NULL);
ALTER TABLE ONLY public.adoptions
    ADD CONSTRAINT adoptions_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.batches
    ADD CONSTRAINT batches_pkey PRIMARY KEY (number);
ALTER TABLE ONLY public.beads
    ADD CONSTRAINT beads_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.confirmations
    ADD CONSTRAINT confirmations_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.decisions
    ADD CONSTRAINT decisions_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.deposits
    ADD CONSTRAINT deposits_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.examinations
    ADD CONSTRAINT examinations_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.frame_cells
    ADD CONSTRAINT frame_cells_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.imperfections
    ADD CONSTRAINT imperfections_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.jobs
    ADD CONSTRAINT jobs_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.joints
    ADD CONSTRAINT joints_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.plans
    ADD CONSTRAINT plans_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.properties
    ADD CONSTRAINT properties_pkey PRIMARY KEY (name);
ALTER TABLE ONLY public.qualifications
    ADD CONSTRAINT qualifications_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.rule_sets
    ADD CONSTRAINT rule_sets_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.spots
    ADD CONSTRAINT spots_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.tests
    ADD CONSTRAINT tests_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.warnings
    ADD CONSTRAINT warnings_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.welders
    ADD CONSTRAINT welders_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.zones
    ADD CONSTRAINT zones_pkey PRIMARY KEY (id);
CREATE UNIQUE INDEX beads_in_force ON public.beads USING btree (key) WHERE (superseded IS NULL);
CREATE UNIQUE INDEX confirmations_in_force ON public.confirmations USING btree (key) WHERE (superseded IS NULL);
CREATE UNIQUE INDEX deposits_in_force ON public.deposits USING btree (key) WHERE (superseded IS NULL);
CREATE UNIQUE INDEX examinations_in_force ON public.examinations USING btree (key) WHERE (superseded IS NULL);
CREATE INDEX frame_cells_by_plan ON public.frame_cells USING btree (plan);
CREATE INDEX imperfections_of ON public.imperfections USING btree (examination);
CREATE INDEX ix_batches_at ON public.batches USING btree (at);
CREATE UNIQUE INDEX jobs_in_force ON public.jobs USING btree (key) WHERE (superseded IS NULL);
CREATE UNIQUE INDEX joints_in_force ON public.joints USING btree (key) WHERE (superseded IS NULL);
CREATE UNIQUE INDEX qualifications_in_force ON public.qualifications USING btree (key) WHERE (superseded IS NULL);
CREATE INDEX spots_by_name ON public.spots USING btree (spot);
CREATE UNIQUE INDEX tests_in_force ON public.tests USING btree (key) WHERE (superseded IS NULL);
CREATE UNIQUE INDEX welders_in_force ON public.welders USING btree (key) WHERE (superseded IS NULL);
CREATE UNIQUE INDEX zones_in_force ON public.zones USING btree (key) WHERE (superseded IS NULL);
ALTER TABLE ONLY public.adoptions
    ADD CONSTRAINT adoptions_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.adoptions
    ADD CONSTRAINT adoptions_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.beads
    ADD CONSTRAINT beads_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.beads
    ADD CONSTRAINT beads_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.confirmations
    ADD CONSTRAINT confirmations_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.confirmations
    ADD CONSTRAINT confirmations_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.decisions
    ADD CONSTRAINT decisions_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.decisions
    ADD CONSTRAINT decisions_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.deposits
    ADD CONSTRAINT deposits_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.deposits
    ADD CONSTRAINT deposits_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.examinations
    ADD CONSTRAINT examinations_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.examinations
    ADD CONSTRAINT examinations_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.frame_cells
    ADD CONSTRAINT frame_cells_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.frame_cells
    ADD CONSTRAINT frame_cells_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.imperfections
    ADD CONSTRAINT imperfections_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.imperfections
    ADD CONSTRAINT imperfections_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.jobs
    ADD CONSTRAINT jobs_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.jobs
    ADD CONSTRAINT jobs_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.joints
    ADD CONSTRAINT joints_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.joints
    ADD CONSTRAINT joints_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.plans
    ADD CONSTRAINT plans_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.plans
    ADD CONSTRAINT plans_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.qualifications
    ADD CONSTRAINT qualifications_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.qualifications
    ADD CONSTRAINT qualifications_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.rule_sets
    ADD CONSTRAINT rule_sets_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.rule_sets
    ADD CONSTRAINT rule_sets_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.spots
    ADD CONSTRAINT spots_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.spots
    ADD CONSTRAINT spots_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.tests
    ADD CONSTRAINT tests_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.tests
    ADD CONSTRAINT tests_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.warnings
    ADD CONSTRAINT warnings_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.warnings
    ADD CONSTRAINT warnings_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.welders
    ADD CONSTRAINT welders_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.welders
    ADD CONSTRAINT welders_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
ALTER TABLE ONLY public.zones
    ADD CONSTRAINT zones_batch_fkey FOREIGN KEY (batch) REFERENCES public.batches(number);
ALTER TABLE ONLY public.zones
    ADD CONSTRAINT zones_superseded_fkey FOREIGN KEY (superseded) REFERENCES public.batches(number);
