//! Sets the invented fleet up through the same flows a real owner would use: the fleet, its cards, its
//! members with their pay and passwords, and a phone for each technician.

use super::chance::Chance;
use super::people::{self, FLEET_HANDLE, password};
use super::phone::Phone;
use super::plan::{Class, Fleet, Product, Recipe, SignIn, Step, decimal, quantity};
use super::van::Van;
use super::{wares, work};
use crate::auth::password::Hasher;
use crate::auth::{Member, Proof, Role, Who};
use crate::error::Error;
use crate::flows::accounts::fleets::{self, NewFleet};
use crate::flows::accounts::members::{self, NewMember};
use crate::flows::accounts::{devices, entry_codes, pay_rates};
use crate::flows::cards::kinds::{
    Card, Item, ItemKind, Machine, Place, PlaceKind, Recipe as RecipeCard, Section, Service, Stage,
    VehicleClass,
};
use crate::flows::cards::{create, edit};
use crate::ids::{FleetId, LaneId, MemberId, SessionId};
use crate::store::Db;
use crate::store::accounts::PayRate;
use crate::values::Amount;
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use serde_json::json;
use std::collections::BTreeMap;
use uuid::Uuid;

/// What employers pay on top of a wage here: made up.
const BURDEN_SHARE: (i64, u32) = (19, 2);
/// How products differ from what their cards say of a dose, as a share.
const PRODUCT_OFF: f64 = 0.15;
/// How technicians' hands differ, as a share of a dose.
const HANDS: f64 = 0.03;

/// Everything a setting-up needs at hand.
struct Setup<'a> {
    db: &'a Db,
    hasher: &'a Hasher,
    now: DateTime<Utc>,
    fleet: FleetId,
    owner: Who,
    cards: Vec<(Uuid, Card)>,
}

/// The fleet, or nothing when its handle is taken already.
pub(super) async fn found(
    db: &Db,
    hasher: &Hasher,
    chance: &mut Chance,
    now: DateTime<Utc>,
) -> Result<Option<(Fleet, Vec<Van>, Vec<SignIn>)>, Error> {
    let new = NewFleet {
        handle: FLEET_HANDLE.to_owned(),
        name: people::FLEET_NAME.to_owned(),
        currency: people::CURRENCY.to_owned(),
        zone: people::ZONE.name().to_owned(),
        owner_handle: people::OWNER.0.to_owned(),
        owner_name: people::OWNER.1.to_owned(),
        owner_password: password(people::OWNER.0).into(),
    };
    let (fleet, owner) = match fleets::create(db, hasher, new, now).await {
        Err(Error::Conflict { code: "handle_taken", .. }) => return Ok(None),
        other => other?,
    };
    let owner = who(fleet, owner, Role::Owner, None, chance.id(now));
    let mut setup = Setup { db, hasher, now, fleet, owner, cards: Vec::new() };
    setup.settle_settings().await?;

    let depot = setup.card(chance, Card::Place(place("Depot at Harrowmere", PlaceKind::Depot)));
    let places = people::VANS.map(|name| setup.card(chance, Card::Place(place(name, PlaceKind::Van))));
    let products = setup.products(chance)?;
    let supplies: BTreeMap<Uuid, wares::SupplyWare> = wares::SUPPLIES
        .iter()
        .map(|ware| (setup.card(chance, Card::Item(item(ware.name, ItemKind::Supply))), *ware))
        .collect();
    let pad_models = setup.pad_models(chance)?;
    let (classes, recipes) = setup.work(chance, &products, &pad_models)?;
    let mut machines = Vec::new();
    for (name, place_id) in people::VANS.iter().zip(places) {
        let label = format!("Polisher of {name}");
        let hourly_cost_amount = Some(amount(1.85)?);
        machines.push(setup.card(chance, Card::Machine(Machine { label, place_id, hourly_cost_amount })));
    }
    setup.keep_cards().await?;

    let mut sign_ins = vec![SignIn::new(people::OWNER.0, "owner")];
    let (handle, name, wage) = people::OFFICE;
    let office = setup.member(chance, (handle, name, wage), Role::Office, None).await?;
    sign_ins.push(SignIn::new(handle, "office"));
    let mut vans = Vec::new();
    for (i, ((place, machine), letter)) in places.into_iter().zip(machines).zip('A'..).enumerate() {
        let mut phones = Vec::new();
        for (handle, name, wage, _) in people::TECHNICIANS.iter().filter(|(_, _, _, van)| *van == i) {
            let who = setup.member(chance, (handle, name, *wage), Role::Technician, Some(place)).await?;
            let lane = setup.phone(chance, who, name).await?;
            phones.push(Phone::new(who, lane, chance.normal(1.0, HANDS)));
            sign_ins.push(SignIn::new(handle, "technician"));
        }
        vans.push(Van::new(place, machine, phones, letter));
    }
    let spot = pad_models.iter().find(|(_, ware)| ware.key == "spot").map(|(id, _)| *id);
    let spot_pad = spot.ok_or_else(|| Error::internal("no spot pad in the plan"))?;
    let crews =
        vans.iter().map(|van| (van.place, van.phones.iter().map(|p| p.who.member).collect())).collect();
    let fleet = Fleet { office, depot, products, supplies, pad_models, spot_pad, recipes, classes, crews };
    Ok(Some((fleet, vans, sign_ins)))
}

impl Setup<'_> {
    fn card(&mut self, chance: &mut Chance, card: Card) -> Uuid {
        let id = chance.id(self.now);
        self.cards.push((id, card));
        id
    }

    fn products(&mut self, chance: &mut Chance) -> Result<BTreeMap<Uuid, Product>, Error> {
        let mut products = BTreeMap::new();
        for ware in wares::PRODUCTS {
            let card = Item {
                density_g_per_ml: Some(quantity(ware.density_g_per_ml)?),
                ml_per_dose: ware.card_ml_per_dose.map(quantity).transpose()?,
                ..item(ware.name, ItemKind::Product)
            };
            let id = self.card(chance, Card::Item(card));
            let true_ml_per_dose = ware.usual_ml_per_dose * chance.normal(1.0, PRODUCT_OFF).clamp(0.6, 1.4);
            products.insert(id, Product { id, ware, true_ml_per_dose });
        }
        Ok(products)
    }

    fn pad_models(&mut self, chance: &mut Chance) -> Result<BTreeMap<Uuid, wares::PadWare>, Error> {
        let mut models = BTreeMap::new();
        for ware in wares::PADS {
            let card = Item {
                diameter_cm: Some(quantity(ware.diameter_cm)?),
                expected_cycles: Some(ware.expected_cycles),
                wash_after_cycles: Some(ware.wash_after_cycles),
                ..item(ware.name, ItemKind::PadModel)
            };
            models.insert(self.card(chance, Card::Item(card)), ware);
        }
        Ok(models)
    }

    fn work(
        &mut self,
        chance: &mut Chance,
        products: &BTreeMap<Uuid, Product>,
        pads: &BTreeMap<Uuid, wares::PadWare>,
    ) -> Result<(Vec<Class>, Vec<Recipe>), Error> {
        let mut classes = Vec::new();
        for plan in work::CLASSES {
            let sections: Vec<(String, f64)> =
                work::SECTIONS.iter().map(|(name, m2)| ((*name).to_owned(), m2 * plan.scale)).collect();
            let cards: Result<Vec<Section>, Error> = sections
                .iter()
                .map(|(name, m2)| Ok(Section { name: name.clone(), area_m2: quantity(*m2)? }))
                .collect();
            let card = VehicleClass { name: plan.name.to_owned(), sections: cards? };
            let id = self.card(chance, Card::VehicleClass(card));
            classes.push(Class { id, price_factor: plan.price_factor, sections });
        }
        let mut recipes = Vec::new();
        for plan in work::RECIPES {
            let mut steps = Vec::new();
            let mut stages = Vec::new();
            for step in plan.steps {
                let product = products.iter().find(|(_, p)| p.ware.key == step.product).map(|(id, _)| *id);
                let product = product.ok_or_else(|| Error::internal("a recipe without its product"))?;
                let pad_model =
                    step.pad.and_then(|key| pads.iter().find(|(_, ware)| ware.key == key)).map(|(id, _)| *id);
                stages.push(Stage {
                    what: step.what,
                    item_id: Some(product),
                    pad_item_id: pad_model,
                    ml_per_m2: Some(quantity(step.ml_per_m2)?),
                    min_per_m2: quantity(step.min_per_m2)?,
                    passes: pad_model.map(|_| 4),
                    speed_step: pad_model.map(|_| 4),
                });
                steps.push(Step {
                    what: step.what,
                    product,
                    pad_model,
                    ml_per_m2: step.ml_per_m2,
                    min_per_m2: step.min_per_m2,
                });
            }
            let recipe = self.card(chance, Card::Recipe(RecipeCard { name: plan.name.to_owned(), stages }));
            let card = Service {
                name: plan.service.to_owned(),
                recipe_id: Some(recipe),
                price_amount: Some(amount(plan.price_amount)?),
            };
            let service = self.card(chance, Card::Service(card));
            recipes.push(Recipe {
                service,
                price_amount: plan.price_amount,
                share: plan.share,
                long: plan.long,
                steps,
            });
        }
        Ok((classes, recipes))
    }

    async fn settle_settings(&self) -> Result<(), Error> {
        let (owner, now, id) = (self.owner, self.now, self.fleet.0);
        let patch = json!({ "travel_cost_per_km_amount": "0.42" });
        let editing = async move |tx: &mut _| {
            let owner = Proof::of(owner).ok_or(Error::NotAllowed)?;
            edit::edit(tx, owner, id, 1, &patch, now).await
        };
        self.db.write("settle_settings", self.fleet, editing).await.map(|_| ())
    }

    async fn keep_cards(&mut self) -> Result<(), Error> {
        keep(self.db, self.owner, std::mem::take(&mut self.cards), self.now).await
    }

    async fn member(
        &self,
        chance: &mut Chance,
        (handle, name, wage): (&str, &str, f64),
        role: Role,
        home_place_id: Option<Uuid>,
    ) -> Result<Who, Error> {
        let (owner, now, id) = (self.owner, self.now, MemberId(chance.id(self.now)));
        let proof = move || Proof::of(owner).ok_or(Error::NotAllowed);
        let new =
            NewMember { handle: handle.to_owned(), name: name.to_owned(), role, home_place_id }.checked()?;
        let rate = PayRate {
            member_id: id.0,
            from_on: now.with_timezone(&people::ZONE).date_naive(),
            hourly_amount: decimal(wage, 2),
            burden_share: Decimal::new(BURDEN_SHARE.0, BURDEN_SHARE.1),
        };
        let adding = async move |tx: &mut _| {
            members::create(tx, proof()?, id, &new, now).await?;
            pay_rates::add(tx, proof()?, &rate).await
        };
        self.db.write("add_member", self.fleet, adding).await?;
        let (code, _) =
            entry_codes::make(self.db, Proof::of(owner).ok_or(Error::NotAllowed)?, id, now).await?;
        let chosen = password(handle).into();
        entry_codes::claim(self.db, self.hasher, FLEET_HANDLE, &code.text(), chosen, now).await?;
        Ok(who(self.fleet, id, role, home_place_id, chance.id(now)))
    }

    async fn phone(&self, chance: &mut Chance, who: Who, name: &str) -> Result<LaneId, Error> {
        let (lane, now, name) = (LaneId(chance.id(self.now)), self.now, format!("Phone of {name}"));
        let enrolling = async move |tx: &mut _| {
            let member = Member::of(who).ok_or(Error::NotAllowed)?;
            devices::enrol(tx, member, lane, &name, None, now).await
        };
        self.db.write("enrol_phone", self.fleet, enrolling).await?;
        Ok(lane)
    }
}

/// Keeps new cards as the office would, in their order.
pub(super) async fn keep(
    db: &Db,
    office: Who,
    cards: Vec<(Uuid, Card)>,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    if cards.is_empty() {
        return Ok(());
    }
    let keeping = async move |tx: &mut _| {
        for (id, card) in &cards {
            let office = Proof::of(office).ok_or(Error::NotAllowed)?;
            create::create(tx, office, *id, card, now).await?;
        }
        Ok(())
    };
    db.write("keep_cards", office.fleet, keeping).await
}

/// A price as it is written on a card: to the cent.
pub(super) fn amount(value: f64) -> Result<Amount, Error> {
    Amount::try_new(decimal(value, 2)).map_err(Error::internal)
}

fn who(fleet: FleetId, member: MemberId, role: Role, home_place: Option<Uuid>, session: Uuid) -> Who {
    Who { fleet, member, session: SessionId(session), role, home_place }
}

fn place(name: &str, what: PlaceKind) -> Place {
    Place { name: name.to_owned(), what }
}

fn item(name: &str, what: ItemKind) -> Item {
    Item {
        name: name.to_owned(),
        what,
        density_g_per_ml: None,
        ml_per_dose: None,
        diameter_cm: None,
        expected_cycles: None,
        wash_after_cycles: None,
        salvage_amount: None,
    }
}
