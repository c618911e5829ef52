-- A log as schema version 3 made it in PostgreSQL, with invented records. Frozen: migrations are tried on it; never change it.
CREATE FUNCTION public.qckit_guard() RETURNS trigger
    LANGUAGE plpgsql
    AS $$ BEGIN RAISE EXCEPTION 'qckit: records are never changed or deleted; write a correction'; END $$;
CREATE TABLE public.baselines (
    baseline text NOT NULL,
    chart text NOT NULL,
    lot text,
    cone text,
    first text,
    last text,
    n_points bigint,
    limits text NOT NULL,
    set_aside text,
    set_by text NOT NULL,
    set_at text NOT NULL,
    notes text,
    step bigint NOT NULL
);
CREATE TABLE public.certificates (
    certificate text NOT NULL,
    camera text NOT NULL,
    magnification text,
    kind text,
    made_at text NOT NULL,
    made_by text NOT NULL,
    counter_version text,
    n_photos bigint,
    detection text,
    confusion text,
    details text,
    valid_until text,
    notes text,
    step bigint NOT NULL
);
CREATE TABLE public.changes (
    change text NOT NULL,
    found_at text NOT NULL,
    found_by text NOT NULL,
    month text NOT NULL,
    quantity text NOT NULL,
    factor text NOT NULL,
    level text,
    first text NOT NULL,
    first_low text,
    first_high text,
    effect double precision,
    effect_low double precision,
    effect_high double precision,
    state text NOT NULL,
    note text,
    step bigint NOT NULL
);
CREATE TABLE public.checks (
    hatch text NOT NULL,
    "check" text NOT NULL,
    planned_at text NOT NULL,
    cause text,
    outcome text,
    done_at text,
    by text NOT NULL,
    notes text,
    step bigint NOT NULL
);
CREATE TABLE public.corrections (
    correction bigint NOT NULL,
    at text NOT NULL,
    by text NOT NULL,
    "table" text NOT NULL,
    key text NOT NULL,
    "column" text NOT NULL,
    before text,
    after text,
    reason text NOT NULL,
    key1 text NOT NULL,
    revision bigint,
    step bigint NOT NULL
);
CREATE TABLE public.feeds (
    feed text NOT NULL,
    fed text NOT NULL,
    hatch text,
    nauplii double precision,
    notes text,
    step bigint NOT NULL
);
CREATE TABLE public.hatches (
    hatch text NOT NULL,
    lot text NOT NULL,
    purpose text NOT NULL,
    cone text NOT NULL,
    started text NOT NULL,
    cysts_g double precision NOT NULL,
    volume_ml double precision NOT NULL,
    temperature_c double precision,
    salinity_ppt double precision,
    ph double precision,
    oxygen_mg_l double precision,
    light_lux double precision,
    aeration text,
    decapsulated boolean,
    operator text,
    notes text,
    started_utc text NOT NULL,
    step bigint NOT NULL
);
CREATE TABLE public.lots (
    lot text NOT NULL,
    origin text,
    harvested text,
    received text,
    opened text,
    best_before text,
    claimed_hatch_pct double precision,
    claimed_nauplii_per_g double precision,
    pack_g double precision,
    price double precision,
    currency text,
    moisture_pct double precision,
    dry_weight_ug double precision,
    storage_c double precision,
    notes text,
    step bigint NOT NULL
);
CREATE TABLE public.meta (
    name text NOT NULL,
    value text
);
CREATE TABLE public.objects (
    photo text NOT NULL,
    object_id bigint NOT NULL,
    stage text,
    p_nauplius double precision,
    p_umbrella double precision,
    p_cyst double precision,
    p_shell double precision,
    p_debris double precision,
    x_px double precision,
    y_px double precision,
    length_um double precision,
    width_um double precision,
    area_um2 double precision,
    on_edge boolean,
    counted boolean,
    source text,
    revision bigint NOT NULL
);
CREATE TABLE public.photos (
    photo text NOT NULL,
    sha256 text NOT NULL,
    sample text,
    um_per_px double precision,
    scale_source text,
    taken text,
    width_px bigint,
    height_px bigint,
    flags text,
    counter_version text,
    frame_mm2 double precision,
    revision bigint NOT NULL,
    sample_revision bigint,
    step bigint NOT NULL
);
CREATE TABLE public.readings (
    hatch text NOT NULL,
    taken text NOT NULL,
    quantity text NOT NULL,
    value double precision NOT NULL,
    unit text NOT NULL,
    taken_utc text NOT NULL,
    step bigint NOT NULL
);
CREATE TABLE public.reports (
    report text NOT NULL,
    kind text NOT NULL,
    subject text NOT NULL,
    made_at text NOT NULL,
    figures text,
    hatches text,
    software text,
    path text,
    step bigint NOT NULL
);
CREATE TABLE public.samples (
    sample text NOT NULL,
    hatch text NOT NULL,
    taken text NOT NULL,
    hours double precision,
    kind text NOT NULL,
    volume_ul double precision,
    mass_g double precision,
    chamber_depth_mm double precision,
    dilution double precision,
    nauplii bigint,
    umbrella bigint,
    cysts bigint,
    embryos bigint,
    shells bigint,
    counted_by text NOT NULL,
    counter text,
    photos text,
    um_per_px double precision,
    revision bigint NOT NULL,
    harvest_ml double precision,
    harvest_g double precision,
    separation text,
    lost_nauplii bigint,
    taken_utc text NOT NULL,
    step bigint NOT NULL
);
CREATE TABLE public.scales (
    camera text NOT NULL,
    magnification text NOT NULL,
    set_at text NOT NULL,
    um_per_px double precision NOT NULL,
    u_um_per_px double precision,
    method text NOT NULL,
    photo text,
    set_by text NOT NULL,
    notes text,
    step bigint NOT NULL
);
CREATE TABLE public.signals (
    signal text NOT NULL,
    chart text NOT NULL,
    lot text,
    hatch text,
    at text NOT NULL,
    rule text NOT NULL,
    value double precision,
    state text NOT NULL,
    found_at text NOT NULL,
    by text,
    note text,
    step bigint NOT NULL
);
CREATE TABLE public.steps (
    step bigint NOT NULL,
    at text NOT NULL,
    by text NOT NULL,
    action text NOT NULL,
    source text,
    source_sha256 text,
    software text NOT NULL,
    n_rows bigint NOT NULL
);
INSERT INTO public.corrections VALUES (1, '2026-11-25T12:00:00+00:00', 'op1', 'hatches', 'H-1', 'cysts_g', '1.602', '1.6', 'the scale was read wrongly', 'H-1', NULL, 3);
INSERT INTO public.hatches VALUES ('H-1', 'L-1', 'standard test', 'A', '2026-10-31T23:30:00+00:00', 1.602, 800, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '2026-10-31T23:30:00.000000Z', 1);
INSERT INTO public.hatches VALUES ('H-2', 'L-2', 'production', 'B', '2026-11-03T09:00:00+00:00', 40, 20000, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '2026-11-03T09:00:00.000000Z', 1);
INSERT INTO public.lots VALUES ('L-1', NULL, NULL, NULL, NULL, NULL, 85, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, 1);
INSERT INTO public.lots VALUES ('L-2', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, 1);
INSERT INTO public.meta VALUES ('schema_version', '3');
INSERT INTO public.meta VALUES ('log_id', 'a56471dd2aba4d5c8144674e99107513');
INSERT INTO public.meta VALUES ('created_at', '2026-11-28T22:31:53+00:00');
INSERT INTO public.objects VALUES ('a.jpg', 1, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 2, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 3, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 4, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 5, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 6, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 7, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 8, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 9, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 10, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 11, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 12, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 13, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 14, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 15, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 16, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 17, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 18, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 19, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 20, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 21, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 22, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 23, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 24, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 25, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 26, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 27, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 28, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 29, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 30, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 31, 'umbrella', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 32, 'umbrella', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 33, 'cyst', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 34, 'cyst', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 35, 'cyst', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 36, 'cyst', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 37, 'cyst', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 38, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 39, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 40, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 41, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 42, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 43, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 44, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 45, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 46, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 47, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 48, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 49, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 50, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 51, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 52, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 53, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 54, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 55, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 56, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('a.jpg', 57, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 1, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 2, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 3, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 4, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 5, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 6, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 7, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 8, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 9, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 10, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 11, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 12, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 13, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 14, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 15, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 16, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 17, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 18, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 19, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 20, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 21, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 22, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 23, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 24, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 25, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 26, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 27, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 28, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 29, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 30, 'nauplius', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 31, 'umbrella', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 32, 'umbrella', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 33, 'cyst', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 34, 'cyst', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 35, 'cyst', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 36, 'cyst', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 37, 'cyst', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 38, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 39, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 40, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 41, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 42, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 43, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 44, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 45, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 46, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 47, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 48, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 49, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 50, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 51, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 52, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 53, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 54, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 55, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 56, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.objects VALUES ('b.jpg', 57, 'shell', NULL, NULL, NULL, NULL, NULL, 1.5, 2.5, NULL, NULL, NULL, NULL, true, 'found', 0);
INSERT INTO public.photos VALUES ('a.jpg', '509b0d4641a7c3ba088ffa28559d1f57207ea980447bc1773b1d406d788386ee', 'S-2', 5, NULL, NULL, NULL, NULL, NULL, 't-1', 100, 0, 1, 2);
INSERT INTO public.photos VALUES ('b.jpg', '7a11ab94584454526cb0479a2e3b96aa5e1c9659290fd7d4cb5dbd28dce7d318', 'S-2', 5, NULL, NULL, NULL, NULL, NULL, 't-1', 100, 0, 1, 2);
INSERT INTO public.samples VALUES ('S-1', 'H-1', '2026-11-01T23:30:00+00:00', NULL, 'subsample', 250, NULL, NULL, NULL, 100, NULL, 20, NULL, NULL, 'person', NULL, NULL, NULL, 0, NULL, NULL, NULL, NULL, '2026-11-01T23:30:00.000000Z', 1);
INSERT INTO public.samples VALUES ('S-2', 'H-1', '2026-11-01T23:32:00+00:00', NULL, 'subsample', NULL, NULL, 1, NULL, NULL, NULL, NULL, NULL, NULL, 'photo', NULL, 'a.jpg; b.jpg', NULL, 0, NULL, NULL, NULL, NULL, '2026-11-01T23:32:00.000000Z', 1);
INSERT INTO public.samples VALUES ('S-3', 'H-2', '2026-11-04T09:00:00+00:00', NULL, 'subsample', 250, NULL, NULL, NULL, 90, NULL, 30, NULL, NULL, 'person', NULL, NULL, NULL, 0, NULL, NULL, NULL, NULL, '2026-11-04T09:00:00.000000Z', 1);
INSERT INTO public.samples VALUES ('S-2', 'H-1', '2026-11-01T23:32:00+00:00', NULL, 'subsample', 200, NULL, 1, NULL, 60, 4, 10, NULL, 40, 'photo', 't-1', 'a.jpg; b.jpg', NULL, 1, NULL, NULL, NULL, NULL, '2026-11-01T23:32:00.000000Z', 2);
INSERT INTO public.steps VALUES (1, '2026-11-25T12:00:00+00:00', 'op1', 'import', 'sheets.csv', NULL, 'qckit 0.1.0', 7);
INSERT INTO public.steps VALUES (2, '2026-11-25T12:00:00+00:00', 'op1', 'count', 'photos', NULL, 'qckit 0.1.0', 117);
INSERT INTO public.steps VALUES (3, '2026-11-25T12:00:00+00:00', 'op1', 'correct', 'hatches', NULL, 'qckit 0.1.0', 1);
ALTER TABLE ONLY public.baselines
    ADD CONSTRAINT baselines_pkey PRIMARY KEY (baseline);
ALTER TABLE ONLY public.certificates
    ADD CONSTRAINT certificates_pkey PRIMARY KEY (certificate);
ALTER TABLE ONLY public.changes
    ADD CONSTRAINT changes_pkey PRIMARY KEY (change);
ALTER TABLE ONLY public.checks
    ADD CONSTRAINT checks_pkey PRIMARY KEY (hatch, "check", planned_at);
ALTER TABLE ONLY public.corrections
    ADD CONSTRAINT corrections_pkey PRIMARY KEY (correction);
ALTER TABLE ONLY public.feeds
    ADD CONSTRAINT feeds_pkey PRIMARY KEY (feed);
ALTER TABLE ONLY public.hatches
    ADD CONSTRAINT hatches_pkey PRIMARY KEY (hatch);
ALTER TABLE ONLY public.lots
    ADD CONSTRAINT lots_pkey PRIMARY KEY (lot);
ALTER TABLE ONLY public.meta
    ADD CONSTRAINT meta_pkey PRIMARY KEY (name);
ALTER TABLE ONLY public.objects
    ADD CONSTRAINT objects_pkey PRIMARY KEY (photo, object_id, revision);
ALTER TABLE ONLY public.photos
    ADD CONSTRAINT photos_pkey PRIMARY KEY (photo, revision);
ALTER TABLE ONLY public.readings
    ADD CONSTRAINT readings_pkey PRIMARY KEY (hatch, taken, quantity);
ALTER TABLE ONLY public.reports
    ADD CONSTRAINT reports_pkey PRIMARY KEY (report);
ALTER TABLE ONLY public.samples
    ADD CONSTRAINT samples_pkey PRIMARY KEY (sample, revision);
ALTER TABLE ONLY public.scales
    ADD CONSTRAINT scales_pkey PRIMARY KEY (camera, magnification, set_at);
ALTER TABLE ONLY public.signals
    ADD CONSTRAINT signals_pkey PRIMARY KEY (signal);
ALTER TABLE ONLY public.steps
    ADD CONSTRAINT steps_pkey PRIMARY KEY (step);
CREATE INDEX ix_corrections_table_column ON public.corrections USING btree ("table", "column");
CREATE INDEX ix_corrections_table_key1 ON public.corrections USING btree ("table", key1);
CREATE INDEX ix_hatches_lot ON public.hatches USING btree (lot, started_utc);
CREATE INDEX ix_hatches_started_utc ON public.hatches USING btree (started_utc);
CREATE INDEX ix_photos_sample ON public.photos USING btree (sample);
CREATE INDEX ix_photos_sha256 ON public.photos USING btree (sha256);
CREATE INDEX ix_samples_hatch ON public.samples USING btree (hatch);
CREATE INDEX ix_signals_chart ON public.signals USING btree (chart, lot);
CREATE TRIGGER guard_baselines BEFORE DELETE OR UPDATE OR TRUNCATE ON public.baselines FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
CREATE TRIGGER guard_certificates BEFORE DELETE OR UPDATE OR TRUNCATE ON public.certificates FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
CREATE TRIGGER guard_changes BEFORE DELETE OR UPDATE OR TRUNCATE ON public.changes FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
CREATE TRIGGER guard_checks BEFORE DELETE OR UPDATE OR TRUNCATE ON public.checks FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
CREATE TRIGGER guard_corrections BEFORE DELETE OR UPDATE OR TRUNCATE ON public.corrections FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
CREATE TRIGGER guard_feeds BEFORE DELETE OR UPDATE OR TRUNCATE ON public.feeds FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
CREATE TRIGGER guard_hatches BEFORE DELETE OR UPDATE OR TRUNCATE ON public.hatches FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
CREATE TRIGGER guard_lots BEFORE DELETE OR UPDATE OR TRUNCATE ON public.lots FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
CREATE TRIGGER guard_objects BEFORE DELETE OR UPDATE OR TRUNCATE ON public.objects FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
CREATE TRIGGER guard_photos BEFORE DELETE OR UPDATE OR TRUNCATE ON public.photos FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
CREATE TRIGGER guard_readings BEFORE DELETE OR UPDATE OR TRUNCATE ON public.readings FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
CREATE TRIGGER guard_reports BEFORE DELETE OR UPDATE OR TRUNCATE ON public.reports FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
CREATE TRIGGER guard_samples BEFORE DELETE OR UPDATE OR TRUNCATE ON public.samples FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
CREATE TRIGGER guard_scales BEFORE DELETE OR UPDATE OR TRUNCATE ON public.scales FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
CREATE TRIGGER guard_signals BEFORE DELETE OR UPDATE OR TRUNCATE ON public.signals FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
CREATE TRIGGER guard_steps BEFORE DELETE OR UPDATE OR TRUNCATE ON public.steps FOR EACH STATEMENT EXECUTE FUNCTION public.qckit_guard();
ALTER TABLE ONLY public.baselines
    ADD CONSTRAINT baselines_step_fkey FOREIGN KEY (step) REFERENCES public.steps(step);
ALTER TABLE ONLY public.certificates
    ADD CONSTRAINT certificates_step_fkey FOREIGN KEY (step) REFERENCES public.steps(step);
ALTER TABLE ONLY public.changes
    ADD CONSTRAINT changes_step_fkey FOREIGN KEY (step) REFERENCES public.steps(step);
ALTER TABLE ONLY public.checks
    ADD CONSTRAINT checks_hatch_fkey FOREIGN KEY (hatch) REFERENCES public.hatches(hatch);
ALTER TABLE ONLY public.checks
    ADD CONSTRAINT checks_step_fkey FOREIGN KEY (step) REFERENCES public.steps(step);
ALTER TABLE ONLY public.corrections
    ADD CONSTRAINT corrections_step_fkey FOREIGN KEY (step) REFERENCES public.steps(step);
ALTER TABLE ONLY public.feeds
    ADD CONSTRAINT feeds_hatch_fkey FOREIGN KEY (hatch) REFERENCES public.hatches(hatch);
ALTER TABLE ONLY public.feeds
    ADD CONSTRAINT feeds_step_fkey FOREIGN KEY (step) REFERENCES public.steps(step);
ALTER TABLE ONLY public.hatches
    ADD CONSTRAINT hatches_lot_fkey FOREIGN KEY (lot) REFERENCES public.lots(lot);
ALTER TABLE ONLY public.hatches
    ADD CONSTRAINT hatches_step_fkey FOREIGN KEY (step) REFERENCES public.steps(step);
ALTER TABLE ONLY public.lots
    ADD CONSTRAINT lots_step_fkey FOREIGN KEY (step) REFERENCES public.steps(step);
ALTER TABLE ONLY public.objects
    ADD CONSTRAINT objects_photo_revision_fkey FOREIGN KEY (photo, revision) REFERENCES public.photos(photo, revision);
ALTER TABLE ONLY public.photos
    ADD CONSTRAINT photos_sample_sample_revision_fkey FOREIGN KEY (sample, sample_revision) REFERENCES public.samples(sample, revision);
ALTER TABLE ONLY public.photos
    ADD CONSTRAINT photos_step_fkey FOREIGN KEY (step) REFERENCES public.steps(step);
ALTER TABLE ONLY public.readings
    ADD CONSTRAINT readings_hatch_fkey FOREIGN KEY (hatch) REFERENCES public.hatches(hatch);
ALTER TABLE ONLY public.readings
    ADD CONSTRAINT readings_step_fkey FOREIGN KEY (step) REFERENCES public.steps(step);
ALTER TABLE ONLY public.reports
    ADD CONSTRAINT reports_step_fkey FOREIGN KEY (step) REFERENCES public.steps(step);
ALTER TABLE ONLY public.samples
    ADD CONSTRAINT samples_hatch_fkey FOREIGN KEY (hatch) REFERENCES public.hatches(hatch);
ALTER TABLE ONLY public.samples
    ADD CONSTRAINT samples_step_fkey FOREIGN KEY (step) REFERENCES public.steps(step);
ALTER TABLE ONLY public.scales
    ADD CONSTRAINT scales_step_fkey FOREIGN KEY (step) REFERENCES public.steps(step);
ALTER TABLE ONLY public.signals
    ADD CONSTRAINT signals_step_fkey FOREIGN KEY (step) REFERENCES public.steps(step);
